-- grain: one place of a slot among the rows of one person (0: hours without an id) in a file and part of time: its rows
SELECT s.place, count(*) AS rows
FROM raw_hours_rows AS h
JOIN (SELECT slot, place FROM work.kept_slots WHERE file_no = ? AND part_no = ?) AS s ON s.slot = h.slot
LEFT JOIN work.kept_people AS p ON p.person = h.person
WHERE coalesce(p.place, 0) = ?
GROUP BY s.place
ORDER BY s.place;
