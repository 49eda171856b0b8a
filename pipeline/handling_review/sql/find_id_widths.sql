-- grain: one row; ids of digits that fail to match between files only because of leading zeros
WITH staff AS (
    SELECT i.employee_id, i.bare, i.width
    FROM work.people JOIN work.ids AS i USING (employee_id)
    WHERE i.bare IS NOT NULL
),
others AS (
    SELECT employee_id FROM raw_training
    UNION
    SELECT employee_id FROM raw_incidents
)
SELECT count(*) AS rows, greatest(max(i.width), (SELECT max(width) FROM staff)) AS width
FROM others
JOIN work.ids AS i USING (employee_id)
WHERE employee_id NOT IN (SELECT employee_id FROM staff) AND i.bare IN (SELECT bare FROM staff)
HAVING count(*) > 0;
