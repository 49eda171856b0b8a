-- grain: one kind of change x unit (null: the facility) x quarter (null: in all) of the training rows between the last
-- review and this one; rows: those of people who worked in that place and time
WITH now_rows AS (
    SELECT employee_id, course, completed_on, status, expires_on, kind, competency FROM raw_training
    WHERE coalesce(CAST(date_part('year', completed_on) AS VARCHAR), 'none') IN (SELECT part FROM differing_training)
),
then_rows AS (
    SELECT employee_id, course, completed_on, status, expires_on, kind, competency FROM then_training
),
only_now AS (
    SELECT *, concat_ws('|', employee_id, course, completed_on) AS same
    FROM (SELECT * FROM now_rows EXCEPT ALL SELECT * FROM then_rows)
),
only_then AS (
    SELECT *, concat_ws('|', employee_id, course, completed_on) AS same
    FROM (SELECT * FROM then_rows EXCEPT ALL SELECT * FROM now_rows)
),
changes AS (
    SELECT CASE WHEN same IN (SELECT same FROM only_then) THEN 'changed_training' ELSE 'late_training' END AS kind,
        employee_id, CASE WHEN same IN (SELECT same FROM only_then) THEN same ELSE 'n' || row_number() OVER () END AS id
    FROM only_now
    UNION ALL
    SELECT CASE WHEN same IN (SELECT same FROM only_now) THEN 'changed_training' ELSE 'withdrawn_training' END,
        employee_id, CASE WHEN same IN (SELECT same FROM only_now) THEN same ELSE 't' || row_number() OVER () END
    FROM only_then
),
worked AS (
    SELECT DISTINCT employee_id, unit, quarter FROM int_person_time WHERE employee_id IS NOT NULL
)
SELECT c.kind, w.unit, w.quarter, count(DISTINCT c.id) AS rows
FROM changes AS c
JOIN worked AS w ON w.employee_id = c.employee_id
GROUP BY GROUPING SETS ((c.kind, w.unit, w.quarter), (c.kind, w.quarter), (c.kind))
ORDER BY c.kind, w.unit NULLS FIRST, w.quarter NULLS FIRST;
