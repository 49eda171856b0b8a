-- grain: one period of the hours files that ends after the day the exports were taken, where it is counted as complete
SELECT CAST(p.first_day AS VARCHAR) AS found, CAST(p.last_day AS VARCHAR) AS last_day, CAST(s.as_of AS VARCHAR) AS as_of,
    count(DISTINCT p.unit) AS units
FROM int_unit_periods AS p
CROSS JOIN settings AS s
WHERE p.last_day > s.as_of AND p.first_day <= s.hours_through
GROUP BY p.first_day, p.last_day, s.as_of
ORDER BY p.first_day, p.last_day;
