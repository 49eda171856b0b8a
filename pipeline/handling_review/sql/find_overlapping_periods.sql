-- grain: one hours file; rows of one person, unit and pay code whose period overlaps another of their periods
WITH periods AS (
    SELECT DISTINCT first_day, last_day FROM work.hour_groups WHERE fate = 'used'
),
crossing AS (
    SELECT first_day, last_day
    FROM periods
    WINDOW in_order AS (ORDER BY first_day, last_day),
        before AS (ORDER BY first_day, last_day ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING)
    QUALIFY lead(first_day) OVER in_order <= last_day OR max(last_day) OVER before >= first_day
),
suspects AS (
    SELECT h.file_no, h.line, h.person, h.unit, h.pay_code, h.first_day, h.last_day, h.hours
    FROM work.fated_hours AS h
    JOIN crossing AS c ON c.first_day = h.first_day AND c.last_day = h.last_day
    WHERE h.fate = 'used' AND h.person > 0 AND h.hours > 0
),
ordered AS (
    SELECT *, max(last_day) OVER (
        PARTITION BY person, unit, pay_code ORDER BY first_day, last_day, line
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    ) AS busy_until,
    lag(first_day) OVER (PARTITION BY person, unit, pay_code ORDER BY first_day, last_day, line) AS first_before,
    lag(last_day) OVER (PARTITION BY person, unit, pay_code ORDER BY first_day, last_day, line) AS last_before
    FROM suspects
)
SELECT file_no, min(line) AS line, count(*) AS rows, CAST(sum(hours) AS DOUBLE) AS hours,
    min(line, 5)[2:5] AS more_lines
FROM ordered
WHERE first_day <= busy_until AND NOT (first_day = first_before AND last_day = last_before)
GROUP BY file_no
ORDER BY file_no;
