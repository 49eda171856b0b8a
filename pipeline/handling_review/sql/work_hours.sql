-- grain: one row of the hours files as whole numbers: its person and slot, with its hours as given
-- kept beside the review's database while it is built, since most of what follows reads it again
CREATE TABLE work.hours AS
SELECT h.record, h.line, coalesce(p.person, 0) AS person, s.slot, h.hours AS hours_given
FROM raw_hours AS h
JOIN work.slots AS s
    ON s.file_no = h.file_no AND s.unit = h.unit AND s.period_start IS NOT DISTINCT FROM h.period_start
    AND s.period_end IS NOT DISTINCT FROM h.period_end AND s.work_date IS NOT DISTINCT FROM h.work_date
    AND s.pay_code IS NOT DISTINCT FROM h.pay_code AND s.role IS NOT DISTINCT FROM h.role
    AND s.source IS NOT DISTINCT FROM h.source
LEFT JOIN work.people AS p ON p.employee_id = h.employee_id;
