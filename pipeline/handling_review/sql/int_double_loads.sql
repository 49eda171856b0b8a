-- grain: one surplus row of a pay period that was loaded twice into one file
-- a period is taken as loaded twice if nearly every one of its rows stands there an even number of times and it has
-- far more rows than the middle period; its second copies are set aside
CREATE TABLE int_double_loads AS
WITH periods AS (
    SELECT slot, file_no, rows, dense_rank() OVER (ORDER BY file_no, period_start, period_end, work_date) AS period_no,
        dense_rank() OVER (ORDER BY file_no, unit, period_start, period_end, work_date, role, pay_code, source) AS alike_no
    FROM work.slots
),
sizes AS (
    SELECT file_no, period_no, sum(rows) AS rows FROM periods GROUP BY file_no, period_no
),
large AS (
    SELECT s.period_no
    FROM sizes AS s
    JOIN (SELECT file_no, median(rows) AS middle, count(*) AS periods FROM sizes GROUP BY file_no) AS m
        ON m.file_no = s.file_no
    WHERE s.rows >= 10 AND s.rows >= 1.6 * m.middle AND m.periods >= 4
),
suspects AS (
    SELECT p.file_no, h.record, p.period_no,
        row_number() OVER (PARTITION BY p.alike_no, h.person, h.hours_given ORDER BY h.record) AS copy,
        count(*) OVER (PARTITION BY p.alike_no, h.person, h.hours_given) AS copies
    FROM work.hours AS h
    JOIN periods AS p ON p.slot = h.slot
    JOIN large AS l ON l.period_no = p.period_no
),
doubled AS (
    SELECT period_no
    FROM suspects
    GROUP BY period_no
    HAVING count(*) FILTER (copies % 2 = 0) >= 0.9 * count(*)
)
SELECT s.file_no, s.record
FROM suspects AS s
JOIN doubled AS d ON d.period_no = s.period_no
WHERE s.copies % 2 = 0 AND s.copy > s.copies / 2
ORDER BY s.file_no, s.record;
