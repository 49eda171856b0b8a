-- grain: one hours file; periods of one person with more hours, over all units and codes, than their days can hold
WITH sums AS (
    SELECT file_no, employee_id, first_day, last_day, sum(hours) AS hours, min(line) AS line
    FROM stg_hours
    WHERE fate = 'used' AND employee_id IS NOT NULL
    GROUP BY file_no, employee_id, first_day, last_day
)
SELECT t.file_no, min(t.line) AS line, count(*) AS rows, CAST(sum(t.hours) AS DOUBLE) AS hours,
    arg_min(CAST(t.hours AS VARCHAR) || ' h in ' || (t.last_day - t.first_day + 1) || ' days', t.line) AS found,
    list_sort(list(t.line))[2:5] AS more_lines
FROM sums AS t
CROSS JOIN settings AS s
WHERE t.hours > s.hours_per_day * (t.last_day - t.first_day + 1)
GROUP BY t.file_no
ORDER BY t.file_no;
