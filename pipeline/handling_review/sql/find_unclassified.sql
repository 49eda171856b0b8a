-- grain: one row; recordable cases whose relation to handling is undecided
SELECT count(*) AS rows, count(*) AS cases, min(line) AS line,
    (SELECT count(*) FROM stg_incidents WHERE fate = 'used' AND is_recordable) AS recordable
FROM stg_incidents
WHERE fate = 'used' AND is_recordable AND is_handling IS NULL
HAVING count(*) > 0;
