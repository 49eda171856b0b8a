-- grain: one row; hours that are estimates
SELECT count(*) AS rows, CAST(sum(hours) AS DOUBLE) AS hours, min(line) AS line,
    (SELECT CAST(sum(hours) AS DOUBLE) FROM stg_hours WHERE fate = 'used') AS all_hours
FROM stg_hours
WHERE fate = 'used' AND source = 'estimate'
HAVING count(*) > 0;
