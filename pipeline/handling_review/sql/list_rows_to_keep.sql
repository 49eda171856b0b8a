-- grain: one row of a file and part of time as numbers, in no order; of people and slots within a range of places
SELECT h.record, h.line, coalesce(p.place, 0) AS person_place, s.place AS slot_place, h.hours
FROM raw_hours_rows AS h
JOIN (
    SELECT slot, place FROM work.kept_slots
    WHERE file_no = ? AND part_no = ? AND place BETWEEN ? AND ?
) AS s ON s.slot = h.slot
LEFT JOIN work.kept_people AS p ON p.person = h.person
WHERE coalesce(p.place, 0) BETWEEN ? AND ?;
