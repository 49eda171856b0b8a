-- grain: one person who still works here (hours above nought in int_recent_hours), in the unit of most of these hours
-- (where two are level: the first by name), with where the training stands on the day of the exports
-- what counts is the completion that reaches furthest. Nobody of a comparison unit is due: the program is not for them
-- yet.
-- a view: the list of people is worked out when it is asked for, and stands nowhere
CREATE VIEW int_training_due AS
WITH home AS (
    SELECT r.employee_id, r.unit, u.comparison
    FROM int_recent_hours AS r
    JOIN stg_units AS u ON u.unit = r.unit
    WHERE r.employee_id IS NOT NULL
    QUALIFY sum(r.hours_e8) OVER (PARTITION BY r.employee_id) > 0
        AND row_number() OVER (PARTITION BY r.employee_id ORDER BY r.hours_e8 DESC, u.name, r.unit) = 1
),
trained AS (
    SELECT employee_id, max(completed_on) AS last_completed_on, max(current_until) AS current_until
    FROM int_completions
    GROUP BY employee_id
)
SELECT h.employee_id, h.unit,
    CASE
        WHEN h.comparison THEN 'comparison_unit'
        WHEN t.employee_id IS NULL AND s.absent_is_unknown THEN 'unknown'
        WHEN t.employee_id IS NULL THEN 'never_trained'
        WHEN t.current_until = DATE '9999-01-01' THEN 'current_no_end'
        WHEN t.current_until <= s.as_of THEN 'overdue'
        ELSE 'due'
    END AS state,
    t.last_completed_on,
    nullif(t.current_until, DATE '9999-01-01') AS due_on
FROM home AS h
CROSS JOIN settings AS s
LEFT JOIN trained AS t ON t.employee_id = h.employee_id;
