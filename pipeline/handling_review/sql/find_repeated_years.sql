-- grain: one year that stands more than once in the posted annual summaries
SELECT min(file_no) AS file_no, CAST(year AS VARCHAR) AS found, count(*) AS rows, list_sort(list(line))[2] AS line,
    list_sort(list(line))[3:6] AS more_lines
FROM raw_annual_totals
GROUP BY year
HAVING count(*) > 1
ORDER BY line;
