-- grain: one surplus row of a pay period that was loaded twice into one file
-- a period is taken as loaded twice if nearly every one of its rows stands there an even number of times and it has
-- far more rows than the middle period; its second copies are set aside
CREATE TABLE int_double_loads AS
WITH sizes AS (
    SELECT file_no, period_start, period_end, work_date, count(*) AS rows
    FROM raw_hours
    GROUP BY file_no, period_start, period_end, work_date
),
large AS (
    SELECT s.file_no, s.period_start, s.period_end, s.work_date
    FROM sizes AS s
    JOIN (SELECT file_no, median(rows) AS middle, count(*) AS periods FROM sizes GROUP BY file_no) AS m
        ON m.file_no = s.file_no
    WHERE s.rows >= 10 AND s.rows >= 1.6 * m.middle AND m.periods >= 4
),
suspects AS (
    SELECT h.file_no, h.record, h.period_start, h.period_end, h.work_date,
        row_number() OVER same AS copy,
        count(*) OVER (
            PARTITION BY h.file_no, h.employee_id, h.unit, h.period_start, h.period_end, h.work_date, h.hours, h.pay_code,
                h.role, h.source
        ) AS copies
    FROM raw_hours AS h
    JOIN large AS l
        ON l.file_no = h.file_no AND l.period_start IS NOT DISTINCT FROM h.period_start
        AND l.period_end IS NOT DISTINCT FROM h.period_end AND l.work_date IS NOT DISTINCT FROM h.work_date
    WINDOW same AS (
        PARTITION BY h.file_no, h.employee_id, h.unit, h.period_start, h.period_end, h.work_date, h.hours, h.pay_code,
            h.role, h.source
        ORDER BY h.record
    )
),
doubled AS (
    SELECT file_no, period_start, period_end, work_date
    FROM suspects
    GROUP BY file_no, period_start, period_end, work_date
    HAVING count(*) FILTER (copies % 2 = 0) >= 0.9 * count(*)
)
SELECT s.file_no, s.record
FROM suspects AS s
JOIN doubled AS d
    ON d.file_no = s.file_no AND d.period_start IS NOT DISTINCT FROM s.period_start
    AND d.period_end IS NOT DISTINCT FROM s.period_end AND d.work_date IS NOT DISTINCT FROM s.work_date
WHERE s.copies % 2 = 0 AND s.copy > s.copies / 2
ORDER BY s.file_no, s.record;
