-- grain: one hours file x part of time, of files after the given one: its rows, first record and first line
SELECT s.file_no, s.part_no, count(*) AS rows, min(h.record) AS first_record, min(h.line) AS first_line
FROM raw_hours_rows AS h
JOIN work.kept_slots AS s ON s.slot = h.slot
WHERE s.file_no > ?
GROUP BY s.file_no, s.part_no
ORDER BY s.file_no, s.part_no;
