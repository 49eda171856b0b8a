-- grain: one case whose days away and days restricted add up to more than 180
SELECT file_no, line, CAST(coalesce(days_away, 0) + coalesce(days_restricted, 0) AS VARCHAR) AS found
FROM stg_incidents
WHERE fate = 'used' AND coalesce(days_away, 0) + coalesce(days_restricted, 0) > 180
ORDER BY file_no, line;
