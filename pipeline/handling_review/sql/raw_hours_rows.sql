-- grain: one accepted row of the hours files as numbers, in the order of the exports
INSERT INTO raw_hours_rows
SELECT h.record, h.line, coalesce(p.person, 0) AS person, s.slot, h.hours
FROM plain_hours AS h
JOIN raw_hours_slots AS s
    ON s.file_no = h.file_no AND s.unit = h.unit AND s.period_start IS NOT DISTINCT FROM h.period_start
    AND s.period_end IS NOT DISTINCT FROM h.period_end AND s.work_date IS NOT DISTINCT FROM h.work_date
    AND s.pay_code IS NOT DISTINCT FROM h.pay_code AND s.role IS NOT DISTINCT FROM h.role
    AND s.source IS NOT DISTINCT FROM h.source
LEFT JOIN raw_hours_people AS p ON p.employee_id = h.employee_id
ORDER BY h.file_no, h.record;
