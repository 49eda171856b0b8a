-- grain: one hours file; rows for which an earlier file holds other hours of the same person, unit, period and pay code
WITH several AS (
    SELECT employee_id, unit, first_day, last_day, lower(pay_code) AS pay_code, min(file_no) AS first_file
    FROM stg_hours
    WHERE fate = 'used' AND employee_id IS NOT NULL AND (SELECT max(file_no) FROM raw_hours) > 1
    GROUP BY employee_id, unit, first_day, last_day, lower(pay_code)
    HAVING min(file_no) < max(file_no)
)
SELECT h.file_no, count(*) AS rows, CAST(sum(h.hours) AS DOUBLE) AS hours, min(h.line) AS line,
    list_sort(list(h.line))[2:5] AS more_lines
FROM stg_hours AS h
JOIN several AS e
    ON e.employee_id = h.employee_id AND e.unit = h.unit AND e.first_day = h.first_day AND e.last_day = h.last_day
    AND e.pay_code IS NOT DISTINCT FROM lower(h.pay_code) AND h.file_no > e.first_file
WHERE h.fate = 'used'
GROUP BY h.file_no
ORDER BY h.file_no;
