-- grain: one slot: rows of the hours files that are alike in all but person, hours, record and line; slot counts from 0
-- first_day and last_day: the days that the rows stand for, their period where both ends are given, else their day
CREATE TABLE work.slots AS
WITH alike AS (
    SELECT file_no, unit, period_start, period_end, work_date, pay_code, role, source, count(*) AS rows
    FROM raw_hours
    GROUP BY ALL
)
SELECT CAST(row_number() OVER (
        ORDER BY period_start, period_end, work_date, file_no, unit, pay_code, role, source
    ) - 1 AS INTEGER) AS slot,
    *,
    CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_start ELSE work_date END AS first_day,
    CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_end ELSE work_date END AS last_day
FROM alike;
