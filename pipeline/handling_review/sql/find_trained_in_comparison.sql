-- grain: one comparison unit in which people with a qualifying completion worked
SELECT u.unit AS found, CAST(sum(p.hours_e8) / 100000000.0 AS DOUBLE) AS hours, count(DISTINCT p.employee_id) AS rows
FROM stg_units AS u
JOIN int_person_time AS p ON p.unit = u.unit AND p.phase = 'after'
WHERE u.comparison
GROUP BY u.unit
ORDER BY u.unit;
