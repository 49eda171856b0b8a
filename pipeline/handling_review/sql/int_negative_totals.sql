-- grain: one row of the hours files whose person, unit and period net to fewer than zero hours worked, copies left out
CREATE TABLE int_negative_totals AS
WITH worked AS (
    SELECT h.file_no, h.record, h.employee_id, m.unit, h.hours, h.first_day, h.last_day
    FROM int_hours_days AS h
    JOIN int_unit_map AS m ON m.given = h.unit
    LEFT JOIN pay_code_map AS p ON p.pay_code = lower(h.pay_code)
    LEFT JOIN int_repeated_rows AS r ON r.file = 'hours' AND r.file_no = h.file_no AND r.record = h.record
    LEFT JOIN int_double_loads AS l ON l.file_no = h.file_no AND l.record = h.record
    WHERE r.record IS NULL AND l.record IS NULL AND (h.pay_code IS NULL OR p.meaning = 'worked')
),
corrected AS (
    SELECT DISTINCT employee_id, unit, first_day, last_day
    FROM worked
    WHERE hours < 0
),
below_zero AS (
    SELECT w.employee_id, w.unit, w.first_day, w.last_day
    FROM worked AS w
    JOIN corrected AS c
        ON c.employee_id IS NOT DISTINCT FROM w.employee_id
        AND c.unit = w.unit AND c.first_day = w.first_day AND c.last_day = w.last_day
    GROUP BY w.employee_id, w.unit, w.first_day, w.last_day
    HAVING sum(w.hours) < 0
)
SELECT w.file_no, w.record
FROM worked AS w
JOIN below_zero AS b
    ON b.employee_id IS NOT DISTINCT FROM w.employee_id
    AND b.unit = w.unit AND b.first_day = w.first_day AND b.last_day = w.last_day
ORDER BY w.file_no, w.record;
