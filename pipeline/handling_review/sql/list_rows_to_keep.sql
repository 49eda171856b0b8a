-- grain: one row of a file and part of time, in an order that rests on content alone; equal rows as the export has them
SELECT h.record - ? AS record, h.line - ? AS line, coalesce(p.place, 0) AS person_place, s.place AS slot_place, h.hours
FROM raw_hours_rows AS h
JOIN (SELECT slot, day_no, place FROM work.kept_slots WHERE part_no = ? AND file_no = ?) AS s ON s.slot = h.slot
LEFT JOIN work.kept_people AS p ON p.person = h.person
ORDER BY s.day_no, person_place, s.place, h.hours NULLS FIRST, h.record;
