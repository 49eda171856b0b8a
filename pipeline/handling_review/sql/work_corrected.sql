-- grain: one person, unit and period of the hours files with a row of fewer than zero hours worked, a correction
CREATE TABLE work.corrected AS
SELECT DISTINCT h.person, s.place_no
FROM work.hours AS h
JOIN work.slot_facts AS s ON s.slot = h.slot
WHERE h.hours_given < 0 AND (s.pay_code IS NULL OR s.meaning = 'worked')
    AND s.first_day IS NOT NULL AND s.last_day IS NOT NULL;
