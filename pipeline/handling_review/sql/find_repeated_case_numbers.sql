-- grain: one case number that stands more than once in one year
SELECT min(file_no) AS file_no, min(line) AS line, case_number AS found, count(*) AS rows, count(*) AS cases,
    list_sort(list(line))[2:5] AS more_lines
FROM stg_incidents
WHERE fate = 'used'
GROUP BY case_number, date_part('year', event_date)
HAVING count(*) > 1
ORDER BY line;
