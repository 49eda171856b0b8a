-- grain: one row; ids of digits that fail to match between files only because of leading zeros
WITH staff AS (
    SELECT DISTINCT employee_id FROM raw_hours WHERE regexp_matches(employee_id, '^[0-9]+$')
),
others AS (
    SELECT DISTINCT employee_id FROM raw_training WHERE regexp_matches(employee_id, '^[0-9]+$')
    UNION
    SELECT DISTINCT employee_id FROM raw_incidents WHERE regexp_matches(employee_id, '^[0-9]+$')
)
SELECT count(*) AS rows, greatest(max(length(o.employee_id)), (SELECT max(length(employee_id)) FROM staff)) AS width
FROM others AS o
WHERE o.employee_id NOT IN (SELECT employee_id FROM staff)
    AND ltrim(o.employee_id, '0') IN (SELECT ltrim(employee_id, '0') FROM staff)
HAVING count(*) > 0;
