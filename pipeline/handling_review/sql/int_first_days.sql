-- grain: one person with hours; the first day of hours worked, whether or not it lies in the review
-- is_seen_to_start: the hours of the review begin more than a month before, so that the first day is the start of work
CREATE TABLE int_first_days AS
WITH people AS (
    SELECT employee_id, min(first_day) AS first_day, min(first_day) FILTER (fate = 'used') AS first_used
    FROM stg_hours
    WHERE fate IN ('used', 'outside the review period') AND hours > 0
    GROUP BY employee_id
)
SELECT employee_id, first_day, first_day > (SELECT min(first_used) FROM people) + 31 AS is_seen_to_start
FROM people
WHERE employee_id IS NOT NULL
ORDER BY employee_id;
