-- grain: one hours file; periods of one person with more hours, over all units and codes, than their days can hold
SELECT file_no, min(line) AS line, count(*) AS rows, CAST(sum(hours) AS DOUBLE) AS hours,
    arg_min(CAST(hours AS VARCHAR) || ' h in ' || (last_day - first_day + 1) || ' days', line) AS found,
    min(line, 5)[2:5] AS more_lines
FROM work.crowds
WHERE is_long
GROUP BY file_no
ORDER BY file_no;
