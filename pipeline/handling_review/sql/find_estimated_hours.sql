-- grain: one row; hours that are estimates
SELECT CAST(sum(rows) AS BIGINT) AS rows, CAST(sum(hours) AS DOUBLE) AS hours, min(line) AS line,
    (SELECT CAST(sum(hours) AS DOUBLE) FROM work.hour_groups WHERE fate = 'used') AS all_hours
FROM work.hour_groups
WHERE fate = 'used' AND source = 'estimate'
HAVING count(*) > 0;
