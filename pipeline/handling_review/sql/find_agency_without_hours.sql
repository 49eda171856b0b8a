-- grain: one row; injuries of agency staff where the hours files hold no agency hours
SELECT count(*) AS rows, count(*) AS cases, min(line) AS line
FROM stg_incidents
WHERE fate = 'used' AND person_type = 'agency'
    AND (SELECT count(*) FROM stg_hours WHERE fate = 'used' AND (source = 'agency' OR employee_id IS NULL)) = 0
HAVING count(*) > 0;
