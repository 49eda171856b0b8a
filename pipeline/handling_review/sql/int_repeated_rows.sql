-- grain: one row of a second or later file whose content stands in an earlier file of the same kind (overlapping extracts)
-- two spellings of one unit, and a code in capitals or not, are the same content; boxes ticked otherwise are not
CREATE TABLE int_repeated_rows AS
WITH cases AS (
    SELECT i.file_no, i.record, i.case_number, i.event_date, m.unit, i.employee_id, i.version, i.row_status,
        concat_ws(' ', i.outcome, CASE WHEN i.tick_death THEN 'G' END, CASE WHEN i.tick_days_away THEN 'H' END,
            CASE WHEN i.tick_restricted THEN 'I' END, CASE WHEN i.tick_other THEN 'J' END) AS outcomes
    FROM raw_incidents AS i
    JOIN int_unit_map AS m ON m.given = i.unit
),
hours AS (
    SELECT h.* EXCLUDE (unit, pay_code, role, source, line), m.unit, lower(h.pay_code) AS pay_code, lower(h.role) AS role,
        coalesce(h.source, 'payroll') AS source
    FROM raw_hours AS h
    JOIN int_unit_map AS m ON m.given = h.unit
    WHERE (SELECT max(file_no) FROM raw_hours) > 1
)
SELECT 'incidents' AS file, t.file_no, t.record
FROM cases AS t
WHERE t.file_no > (
    SELECT min(e.file_no) FROM cases AS e
    WHERE e.case_number = t.case_number AND e.event_date = t.event_date AND e.unit = t.unit
        AND e.employee_id IS NOT DISTINCT FROM t.employee_id AND e.outcomes = t.outcomes
        AND e.version IS NOT DISTINCT FROM t.version AND e.row_status IS NOT DISTINCT FROM t.row_status
)
UNION ALL
SELECT 'hours', t.file_no, t.record
FROM hours AS t
JOIN (
    SELECT * EXCLUDE (file_no, record), min(file_no) AS first_file
    FROM hours
    GROUP BY ALL
    HAVING min(file_no) < max(file_no)
) AS e
    ON e.unit = t.unit AND e.hours = t.hours
    AND e.employee_id IS NOT DISTINCT FROM t.employee_id AND e.period_start IS NOT DISTINCT FROM t.period_start
    AND e.period_end IS NOT DISTINCT FROM t.period_end AND e.work_date IS NOT DISTINCT FROM t.work_date
    AND e.pay_code IS NOT DISTINCT FROM t.pay_code AND e.role IS NOT DISTINCT FROM t.role
    AND e.source = t.source AND t.file_no > e.first_file
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
