-- grain: one place of a person (0: hours without an id) among the rows of a file and part of time: its rows
SELECT coalesce(p.place, 0) AS place, count(*) AS rows
FROM raw_hours_rows AS h
JOIN (SELECT slot FROM work.kept_slots WHERE file_no = ? AND part_no = ?) AS s ON s.slot = h.slot
LEFT JOIN work.kept_people AS p ON p.person = h.person
GROUP BY 1
ORDER BY 1;
