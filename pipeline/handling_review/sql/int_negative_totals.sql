-- grain: one row of the hours files whose person, unit and period net to fewer than zero hours worked, copies left out
CREATE TABLE int_negative_totals AS
WITH worked AS NOT MATERIALIZED (
    SELECT s.file_no, h.record, h.person, s.place_no, h.hours_given AS hours
    FROM work.hours AS h
    JOIN work.slot_facts AS s ON s.slot = h.slot
    LEFT JOIN int_repeated_rows AS r ON r.file = 'hours' AND r.file_no = s.file_no AND r.record = h.record
    LEFT JOIN int_double_loads AS l ON l.file_no = s.file_no AND l.record = h.record
    WHERE r.record IS NULL AND l.record IS NULL AND (s.pay_code IS NULL OR s.meaning = 'worked')
        AND s.first_day IS NOT NULL AND s.last_day IS NOT NULL
),
corrected AS (
    SELECT DISTINCT person, place_no
    FROM worked
    WHERE hours < 0
),
below_zero AS (
    SELECT w.person, w.place_no
    FROM worked AS w
    JOIN corrected AS c ON c.person = w.person AND c.place_no = w.place_no
    GROUP BY w.person, w.place_no
    HAVING sum(w.hours) < 0
)
SELECT w.file_no, w.record
FROM worked AS w
JOIN below_zero AS b ON b.person = w.person AND b.place_no = w.place_no
ORDER BY w.file_no, w.record;
