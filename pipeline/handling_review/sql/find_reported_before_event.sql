-- grain: one case reported before it happened
SELECT file_no, line, CAST(reported_date AS VARCHAR) || ' before ' || CAST(event_date AS VARCHAR) AS found
FROM stg_incidents
WHERE fate = 'used' AND reported_date < event_date
ORDER BY file_no, line;
