-- grain: one hours file; rows of one person, unit and pay code whose period overlaps another of their periods
WITH periods AS (
    SELECT DISTINCT first_day, last_day FROM stg_hours WHERE fate = 'used'
),
crossing AS (
    SELECT DISTINCT a.first_day, a.last_day
    FROM periods AS a
    JOIN periods AS b ON a.first_day <= b.last_day AND b.first_day <= a.last_day
        AND (a.first_day <> b.first_day OR a.last_day <> b.last_day)
),
suspects AS (
    SELECT h.file_no, h.line, h.employee_id, h.unit, h.pay_code, h.first_day, h.last_day, h.hours
    FROM stg_hours AS h
    JOIN crossing AS c ON c.first_day = h.first_day AND c.last_day = h.last_day
    WHERE h.fate = 'used' AND h.employee_id IS NOT NULL AND h.hours > 0
),
ordered AS (
    SELECT *, max(last_day) OVER (
        PARTITION BY employee_id, unit, pay_code ORDER BY first_day, last_day, line
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    ) AS busy_until,
    lag(first_day) OVER (PARTITION BY employee_id, unit, pay_code ORDER BY first_day, last_day, line) AS first_before,
    lag(last_day) OVER (PARTITION BY employee_id, unit, pay_code ORDER BY first_day, last_day, line) AS last_before
    FROM suspects
)
SELECT file_no, min(line) AS line, count(*) AS rows, CAST(sum(hours) AS DOUBLE) AS hours,
    list_sort(list(line))[2:5] AS more_lines
FROM ordered
WHERE first_day <= busy_until AND NOT (first_day = first_before AND last_day = last_before)
GROUP BY file_no
ORDER BY file_no;
