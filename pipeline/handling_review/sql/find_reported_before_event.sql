-- grain: one case reported before it happened
SELECT file_no, line, (event_date - reported_date) || CASE event_date - reported_date WHEN 1 THEN ' day' ELSE ' days' END
        || ' before the event' AS found
FROM stg_incidents
WHERE fate = 'used' AND reported_date < event_date
ORDER BY file_no, line;
