-- grain: one row of the hours files whose person, unit and period net to fewer than zero hours worked, copies left out
CREATE TABLE int_negative_totals AS
WITH worked AS (
    SELECT s.file_no, h.record, h.person, s.place_no, h.hours_given AS hours
    FROM work.hours AS h
    JOIN work.slot_facts AS s ON s.slot = h.slot
    JOIN work.corrected AS c ON c.person = h.person AND c.place_no = s.place_no
    LEFT JOIN int_repeated_rows AS r ON r.file = 'hours' AND r.file_no = s.file_no AND r.record = h.record
    LEFT JOIN int_double_loads AS l ON l.file_no = s.file_no AND l.record = h.record
    WHERE r.record IS NULL AND l.record IS NULL AND (s.pay_code IS NULL OR s.meaning = 'worked')
),
below_zero AS (
    SELECT person, place_no
    FROM worked
    GROUP BY person, place_no
    HAVING sum(hours) < 0
)
SELECT w.file_no, w.record
FROM worked AS w
JOIN below_zero AS b ON b.person = w.person AND b.place_no = w.place_no
ORDER BY w.file_no, w.record;
