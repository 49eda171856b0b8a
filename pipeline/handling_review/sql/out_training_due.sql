-- grain: one unit x state x month in which training lapses (blank unless due), with the people who still work here
-- who still works here, and in which unit: worked hours in the last active_days days (60: common practice, no source)
-- up to the end of the hours inside the review; the unit of most of these hours (int_recent_hours, int_training_due)
-- states: never_trained, overdue (lapsed by the day of the exports), due (lapses later), current_no_end (no rule or day
-- of expiry), unknown (no training row, and the training file knows too few of the staff), comparison_unit
CREATE TABLE out_training_due AS
SELECT unit, state, CASE WHEN state = 'due' THEN strftime(due_on, '%Y-%m') ELSE '' END AS due_month,
    CAST(count(*) AS INTEGER) AS people
FROM int_training_due
GROUP BY unit, state, due_month
ORDER BY unit, state, due_month;
