-- grain: one row of the hours files with its fate: used, or the rule that sets it aside or leaves it out
CREATE VIEW stg_hours AS
WITH dated AS (
    SELECT *,
        CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_start ELSE work_date END AS first_day,
        CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_end ELSE work_date END AS last_day
    FROM raw_hours
)
SELECT d.file_no, d.record, d.line, d.employee_id, m.unit, d.first_day, d.last_day, d.hours, d.role, d.pay_code,
    coalesce(d.source, 'payroll') AS source,
    CASE
        WHEN d.first_day IS NULL OR d.last_day IS NULL THEN 'no date'
        WHEN d.last_day < d.first_day THEN 'period reversed'
        WHEN d.pay_code IS NOT NULL AND p.meaning IS NULL THEN 'unmapped pay code'
        WHEN p.meaning = 'not_worked' THEN 'not worked'
        WHEN p.meaning = 'premium_only' THEN 'premium only'
        WHEN n.record IS NOT NULL THEN 'negative total'
        WHEN d.last_day < s.review_start OR d.first_day > s.review_end THEN 'outside the review period'
        ELSE 'used'
    END AS fate
FROM dated AS d
CROSS JOIN settings AS s
JOIN int_unit_map AS m ON m.given = d.unit
LEFT JOIN pay_code_map AS p ON p.pay_code = lower(d.pay_code)
LEFT JOIN int_negative_totals AS n ON n.file_no = d.file_no AND n.record = d.record;
