-- grain: one row of a second or later file whose content stands in an earlier file of the same kind (overlapping extracts)
CREATE TABLE int_repeated_rows AS
SELECT 'incidents' AS file, t.file_no, t.record
FROM raw_incidents AS t
WHERE t.file_no > (
    SELECT min(e.file_no) FROM raw_incidents AS e
    WHERE e.case_number = t.case_number AND e.event_date = t.event_date AND e.unit = t.unit
        AND e.employee_id IS NOT DISTINCT FROM t.employee_id AND e.outcome IS NOT DISTINCT FROM t.outcome
        AND e.version IS NOT DISTINCT FROM t.version AND e.row_status IS NOT DISTINCT FROM t.row_status
)
UNION ALL
SELECT 'hours', t.file_no, t.record
FROM raw_hours AS t
JOIN (
    SELECT employee_id, unit, period_start, period_end, work_date, hours, pay_code, role, source, min(file_no) AS first_file
    FROM raw_hours
    GROUP BY ALL
    HAVING min(file_no) < max(file_no)
) AS e
    ON e.unit = t.unit AND e.hours = t.hours
    AND e.employee_id IS NOT DISTINCT FROM t.employee_id AND e.period_start IS NOT DISTINCT FROM t.period_start
    AND e.period_end IS NOT DISTINCT FROM t.period_end AND e.work_date IS NOT DISTINCT FROM t.work_date
    AND e.pay_code IS NOT DISTINCT FROM t.pay_code AND e.role IS NOT DISTINCT FROM t.role
    AND e.source IS NOT DISTINCT FROM t.source AND t.file_no > e.first_file
UNION ALL
SELECT 'training', t.file_no, t.record
FROM raw_training AS t
JOIN (
    SELECT employee_id, course, completed_on, status, expires_on, min(file_no) AS first_file
    FROM raw_training
    GROUP BY employee_id, course, completed_on, status, expires_on
    HAVING min(file_no) < max(file_no)
) AS e
    ON e.employee_id = t.employee_id AND e.course = t.course AND e.completed_on = t.completed_on
    AND e.status = t.status AND e.expires_on IS NOT DISTINCT FROM t.expires_on AND t.file_no > e.first_file
ORDER BY 1, 2, 3;
