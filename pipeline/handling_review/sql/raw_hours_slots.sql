-- grain: one slot: what rows of the hours files share besides person and hours; slot counts from 0
INSERT INTO raw_hours_slots
SELECT CAST(row_number() OVER (ORDER BY file_no, min(record)) - 1 AS INTEGER) AS slot,
    unit, period_start, period_end, work_date, role, pay_code, source, file_no
FROM plain_hours
GROUP BY unit, period_start, period_end, work_date, role, pay_code, source, file_no;
