-- grain: one row of the hours files with the days that it stands for: its period where both ends are given, else its day
CREATE VIEW int_hours_days AS
SELECT *,
    CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_start ELSE work_date END AS first_day,
    CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_end ELSE work_date END AS last_day
FROM raw_hours;
