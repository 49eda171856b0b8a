-- grain: one row; ids that fail to match between files only because of upper and lower case
WITH staff AS (
    SELECT DISTINCT employee_id FROM raw_hours WHERE employee_id IS NOT NULL
),
others AS (
    SELECT employee_id FROM raw_training WHERE employee_id IS NOT NULL
    UNION
    SELECT employee_id FROM raw_incidents WHERE employee_id IS NOT NULL
)
SELECT count(*) AS rows
FROM others AS o
WHERE o.employee_id NOT IN (SELECT employee_id FROM staff)
    AND lower(o.employee_id) IN (SELECT lower(employee_id) FROM staff)
HAVING count(*) > 0;
