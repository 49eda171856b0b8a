-- grain: one person with hours; the first day of hours worked, whether or not it lies in the review
-- is_seen_to_start: the hours of the review begin more than a month before, so that the first day is the start of work
CREATE TABLE int_first_days AS
SELECT p.employee_id, d.worked_from AS first_day,
    d.worked_from > (SELECT min(used_from) FROM work.person_days) + 31 AS is_seen_to_start
FROM work.person_days AS d
JOIN work.people AS p ON p.person = d.person
WHERE d.worked_from IS NOT NULL
ORDER BY p.employee_id;
