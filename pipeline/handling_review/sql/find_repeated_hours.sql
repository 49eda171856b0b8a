-- grain: one hours file; rows that stand more than once, letter for letter, in one file
SELECT file_no, CAST(sum(copies - 1) AS BIGINT) AS rows, CAST(sum(hours * (copies - 1)) AS DOUBLE) AS hours, min(line) AS line
FROM (
    SELECT h.file_no, h.person, h.alike_no, h.hours, count(*) AS copies, max(h.line) AS line
    FROM work.fated_hours AS h
    JOIN work.crowds AS c ON c.person = h.person AND c.span_no = h.span_no AND c.rows > 1
    WHERE h.fate = 'used'
    GROUP BY h.file_no, h.person, h.alike_no, h.hours
    HAVING count(*) > 1
)
GROUP BY file_no
ORDER BY file_no;
