-- grain: one row of the hours files with its fate: used, or the rule that sets it aside or leaves it out
-- where the column holds full-time equivalents, hours are these x hours a year x days of the period / days of its year
CREATE VIEW stg_hours AS
SELECT d.file_no, d.record, d.line, d.employee_id, m.unit, d.first_day, d.last_day,
    CASE
        WHEN s.fte_hours_per_year IS NULL THEN d.hours
        ELSE CAST(d.hours * s.fte_hours_per_year * (d.last_day - d.first_day + 1)
            / (make_date(date_part('year', d.first_day)::BIGINT + 1, 1, 1) - make_date(date_part('year', d.first_day)::BIGINT, 1, 1))
            AS DECIMAL(18, 4))
    END AS hours,
    d.role, d.pay_code, coalesce(d.source, 'payroll') AS source,
    CASE
        WHEN r.record IS NOT NULL THEN 'already in another file'
        WHEN l.record IS NOT NULL THEN 'period loaded twice'
        WHEN d.first_day IS NULL OR d.last_day IS NULL THEN 'no date'
        WHEN d.last_day < d.first_day THEN 'period reversed'
        WHEN d.pay_code IS NOT NULL AND p.meaning IS NULL THEN 'unmapped pay code'
        WHEN p.meaning = 'not_worked' THEN 'not worked'
        WHEN p.meaning = 'premium_only' THEN 'premium only'
        WHEN n.record IS NOT NULL THEN 'negative total'
        WHEN d.last_day < s.review_start OR d.first_day > s.review_end THEN 'outside the review period'
        ELSE 'used'
    END AS fate
FROM int_hours_days AS d
CROSS JOIN settings AS s
JOIN int_unit_map AS m ON m.given = d.unit
LEFT JOIN pay_code_map AS p ON p.pay_code = lower(d.pay_code)
LEFT JOIN int_repeated_rows AS r ON r.file = 'hours' AND r.file_no = d.file_no AND r.record = d.record
LEFT JOIN int_double_loads AS l ON l.file_no = d.file_no AND l.record = d.record
LEFT JOIN int_negative_totals AS n ON n.file_no = d.file_no AND n.record = d.record;
