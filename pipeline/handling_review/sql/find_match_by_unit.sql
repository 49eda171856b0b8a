-- grain: one unit with the programme in which fewer than half of the people with hours are in the training files
WITH people AS (
    SELECT unit, employee_id, sum(hours_e8) / 100000000.0 AS hours
    FROM int_person_time
    WHERE employee_id IS NOT NULL
    GROUP BY unit, employee_id
)
SELECT p.unit AS found, count(*) AS people, count(*) FILTER (p.employee_id NOT IN (SELECT employee_id FROM stg_training)) AS rows,
    CAST(sum(p.hours) FILTER (p.employee_id NOT IN (SELECT employee_id FROM stg_training)) AS DOUBLE) AS hours
FROM people AS p
JOIN stg_units AS u ON u.unit = p.unit
WHERE u.program_start IS NOT NULL AND NOT u.comparison
GROUP BY p.unit
HAVING count(*) >= 5 AND 2 * count(*) FILTER (p.employee_id NOT IN (SELECT employee_id FROM stg_training)) > count(*)
ORDER BY p.unit;
