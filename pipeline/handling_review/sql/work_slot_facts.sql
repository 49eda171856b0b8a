-- grain: one slot of the hours files with its unit, its days, and the fate of its rows unless a row has one of its own
-- numbers that rows share where they may be the same hours: span_no in one file and days; place_no in one unit and days;
-- alike_no where one file says the same of them; same_no where any file does (overlapping extracts); change_no where
-- unit, days and pay code are the same
CREATE TABLE work.slot_facts AS
WITH named AS (
    SELECT h.slot, h.file_no, h.rows, m.unit, h.unit AS unit_given, h.period_start, h.period_end, h.work_date, h.first_day,
        h.last_day, h.pay_code, h.role, coalesce(h.source, 'payroll') AS source, p.meaning, f.fte_hours_per_year,
        h.last_day - h.first_day + 1 AS days,
        make_date(date_part('year', h.first_day)::BIGINT + 1, 1, 1) - make_date(date_part('year', h.first_day)::BIGINT, 1, 1)
            AS days_of_year,
        CASE
            WHEN h.first_day IS NULL OR h.last_day IS NULL THEN 'no date'
            WHEN h.last_day < h.first_day THEN 'period reversed'
            WHEN h.pay_code IS NOT NULL AND p.meaning IS NULL THEN 'unmapped pay code'
            WHEN p.meaning = 'not_worked' THEN 'not worked'
            WHEN p.meaning = 'premium_only' THEN 'premium only'
            WHEN h.last_day < f.review_start OR h.first_day > f.review_end THEN 'outside the review period'
            ELSE 'used'
        END AS fate
    FROM work.slots AS h
    CROSS JOIN settings AS f
    JOIN int_unit_map AS m ON m.given = h.unit
    LEFT JOIN pay_code_map AS p ON p.pay_code = lower(h.pay_code)
)
SELECT *,
    CAST(dense_rank() OVER (ORDER BY file_no, first_day, last_day) AS INTEGER) AS span_no,
    CAST(dense_rank() OVER (ORDER BY unit, first_day, last_day) AS INTEGER) AS place_no,
    CAST(dense_rank() OVER (ORDER BY file_no, unit, first_day, last_day, pay_code, role, source) AS INTEGER) AS alike_no,
    CAST(dense_rank() OVER (
        ORDER BY unit, period_start, period_end, work_date, lower(pay_code), lower(role), source
    ) AS INTEGER) AS same_no,
    CAST(dense_rank() OVER (ORDER BY unit, first_day, last_day, lower(pay_code)) AS INTEGER) AS change_no
FROM named
ORDER BY slot;
