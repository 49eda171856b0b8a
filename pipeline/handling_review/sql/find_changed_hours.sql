-- grain: one hours file; rows for which an earlier file holds other hours of the same person, unit, period and pay code
WITH in_two_files AS (
    SELECT change_no FROM work.slot_facts GROUP BY change_no HAVING min(file_no) < max(file_no)
),
suspects AS (
    SELECT person, change_no, file_no, line, hours
    FROM work.fated_hours
    WHERE fate = 'used' AND person > 0 AND change_no IN (SELECT change_no FROM in_two_files)
),
several AS (
    SELECT person, change_no, min(file_no) AS first_file
    FROM suspects
    GROUP BY person, change_no
    HAVING min(file_no) < max(file_no)
)
SELECT h.file_no, count(*) AS rows, CAST(sum(h.hours) AS DOUBLE) AS hours, min(h.line) AS line, min(h.line, 5)[2:5] AS more_lines
FROM suspects AS h
JOIN several AS e ON e.person = h.person AND e.change_no = h.change_no AND h.file_no > e.first_file
GROUP BY h.file_no
ORDER BY h.file_no;
