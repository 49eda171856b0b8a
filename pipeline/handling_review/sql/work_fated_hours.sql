-- grain: one row of the hours files with its slot, person, hours as counted and fate, as in stg_hours
CREATE VIEW work.fated_hours AS
SELECT h.record, h.line, h.person, h.slot, h.hours_given,
    CASE
        WHEN s.fte_hours_per_year IS NULL THEN h.hours_given
        ELSE CAST(h.hours_given * s.fte_hours_per_year * s.days / s.days_of_year AS DECIMAL(18, 4))
    END AS hours,
    CASE
        WHEN f.fate IS NOT NULL AND (f.is_first OR s.fate IN ('used', 'outside the review period')) THEN f.fate
        ELSE s.fate
    END AS fate,
    s.file_no, s.unit, s.pay_code, s.first_day, s.last_day, s.span_no, s.alike_no, s.change_no
FROM work.hours AS h
JOIN work.slot_facts AS s ON s.slot = h.slot
LEFT JOIN work.fates AS f ON f.file_no = s.file_no AND f.record = h.record;
