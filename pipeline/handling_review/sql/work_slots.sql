-- grain: one slot: rows of the hours files that are written alike in all but person, hours, record and line
-- first_day and last_day: the days that the rows stand for, their period where both ends are given, else their day
CREATE TABLE work.slots AS
SELECT s.*, n.rows,
    CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_start ELSE work_date END AS first_day,
    CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_end ELSE work_date END AS last_day
FROM raw_hours_slots AS s
JOIN (SELECT slot, count(*) AS rows FROM raw_hours_rows GROUP BY slot) AS n ON n.slot = s.slot
ORDER BY s.slot;
