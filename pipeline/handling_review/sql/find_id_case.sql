-- grain: one row; ids that fail to match between files only because of upper and lower case
WITH staff AS (
    SELECT employee_id FROM work.people
),
others AS (
    SELECT employee_id FROM raw_training WHERE employee_id IS NOT NULL
    UNION
    SELECT employee_id FROM raw_incidents WHERE employee_id IS NOT NULL
)
SELECT count(*) AS rows
FROM others
JOIN work.ids AS i USING (employee_id)
WHERE employee_id NOT IN (SELECT employee_id FROM staff)
    AND i.folded IN (SELECT s.folded FROM staff JOIN work.ids AS s USING (employee_id))
HAVING count(*) > 0;
