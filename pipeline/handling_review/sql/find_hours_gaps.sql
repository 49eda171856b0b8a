-- grain: one run of days of a unit without hours
SELECT unit AS found, CAST(from_day AS VARCHAR) AS from_day, CAST(to_day AS VARCHAR) AS to_day, days AS rows
FROM int_hours_gaps
ORDER BY unit, from_day;
