-- grain: one row; injuries of agency staff where the hours files hold no agency hours
SELECT count(*) AS rows, count(*) AS cases, min(line) AS line
FROM stg_incidents
WHERE fate = 'used' AND person_type = 'agency'
    AND NOT EXISTS (
        SELECT 1 FROM work.hour_groups WHERE fate = 'used' AND (source = 'agency' OR rows_without_id > 0)
    )
HAVING count(*) > 0;
