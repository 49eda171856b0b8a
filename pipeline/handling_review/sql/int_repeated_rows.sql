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
    SELECT s.file_no, h.record, h.person, s.same_no, h.hours_given
    FROM work.hours AS h
    JOIN work.slot_facts AS s ON s.slot = h.slot
    WHERE s.same_no IN (SELECT same_no FROM work.slot_facts GROUP BY same_no HAVING min(file_no) < max(file_no))
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
    SELECT person, same_no, hours_given, min(file_no) AS first_file
    FROM hours
    GROUP BY person, same_no, hours_given
    HAVING min(file_no) < max(file_no)
) AS e
    ON e.person = t.person AND e.same_no = t.same_no AND e.hours_given = t.hours_given AND t.file_no > e.first_file
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
