-- grain: one row; cases whose employee id is not in the hours files
SELECT count(*) AS rows, count(*) AS cases, min(i.line) AS line
FROM stg_incidents AS i
WHERE i.fate = 'used' AND i.employee_id IS NOT NULL
    AND i.employee_id NOT IN (SELECT employee_id FROM work.people)
HAVING count(*) > 0;
