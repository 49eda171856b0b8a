-- grain: one accepted row of the hours files, in the columns of the contract; kept as numbers in raw_hours_rows
CREATE VIEW raw_hours AS
SELECT p.employee_id, s.unit, s.period_start, s.period_end, s.work_date, h.hours, s.role, s.pay_code, s.source,
    h.record, h.line, s.file_no
FROM raw_hours_rows AS h
JOIN raw_hours_slots AS s ON s.slot = h.slot
LEFT JOIN raw_hours_people AS p ON p.person = h.person;
