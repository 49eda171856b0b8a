-- grain: one slot of the hours files with its part of time, and its place among all contents of slots, day first
-- part_no: year x 4 + quarter from 0, or 0 without a day; place: the same for slots of the same content in all files
CREATE TABLE work.kept_slots AS
SELECT slot, file_no, unit, period_start, period_end, work_date, role, pay_code, source,
    CAST(coalesce(date_part('year', day) * 4 + date_part('quarter', day) - 1, 0) AS INTEGER) AS part_no,
    CAST(dense_rank() OVER (
        ORDER BY day NULLS FIRST, unit, period_start, period_end, work_date, role, pay_code, source
    ) AS INTEGER) AS place
FROM (SELECT *, coalesce(period_start, work_date) AS day FROM raw_hours_slots)
ORDER BY slot;
