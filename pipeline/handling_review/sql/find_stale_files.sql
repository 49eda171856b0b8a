-- grain: one row where the log's last event lies long before the day that it is said to be complete through
SELECT strftime(max(i.event_date), '%Y-%m') AS found, CAST(s.log_through AS VARCHAR) AS log_through,
    s.log_through - max(i.event_date) AS days, count(*) AS rows,
    CAST((max(i.event_date) - min(i.event_date)) AS DOUBLE) / nullif(count(*) - 1, 0) AS days_between
FROM stg_incidents AS i
CROSS JOIN settings AS s
WHERE i.fate = 'used'
GROUP BY s.log_through
HAVING s.log_through - max(i.event_date) > 92 AND count(*) >= 5
    AND s.log_through - max(i.event_date) > 5.0 * (max(i.event_date) - min(i.event_date)) / (count(*) - 1);
