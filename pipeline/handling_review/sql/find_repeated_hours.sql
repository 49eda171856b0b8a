-- grain: one hours file; rows that stand more than once, letter for letter, in one file
SELECT file_no, CAST(sum(copies - 1) AS BIGINT) AS rows, CAST(sum(hours * (copies - 1)) AS DOUBLE) AS hours, min(line) AS line
FROM (
    SELECT file_no, employee_id, unit, first_day, last_day, hours, pay_code, role, source, count(*) AS copies,
        max(line) AS line
    FROM stg_hours
    WHERE fate = 'used' AND employee_id IS NOT NULL
    GROUP BY file_no, employee_id, unit, first_day, last_day, hours, pay_code, role, source
    HAVING count(*) > 1
)
GROUP BY file_no
ORDER BY file_no;
