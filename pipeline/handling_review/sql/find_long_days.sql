-- grain: one row of the hours files of a single person with more hours than its days hold
SELECT h.file_no, h.line, CAST(h.hours AS VARCHAR) || ' h in ' || (h.last_day - h.first_day + 1) || ' days' AS found,
    CAST(h.hours AS DOUBLE) AS hours
FROM stg_hours AS h
CROSS JOIN settings AS s
WHERE h.fate = 'used' AND h.employee_id IS NOT NULL
    AND h.hours > s.hours_per_day * (h.last_day - h.first_day + 1)
ORDER BY h.file_no, h.line;
