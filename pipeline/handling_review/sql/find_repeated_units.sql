-- grain: one unit that stands more than once in the units files
SELECT min(file_no) AS file_no, arg_min(unit, line) AS found, count(*) AS rows, list_sort(list(line))[2] AS line,
    list_sort(list(line))[3:6] AS more_lines
FROM raw_units
GROUP BY lower(unit)
HAVING count(*) > 1
ORDER BY line;
