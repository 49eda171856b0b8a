-- grain: one row where no training row qualifies
SELECT count(*) AS rows, string_agg(DISTINCT course, ', ' ORDER BY course) AS found
FROM stg_training
HAVING count(*) FILTER (fate = 'used') = 0;
