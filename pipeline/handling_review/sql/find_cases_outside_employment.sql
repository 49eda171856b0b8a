-- grain: one row; cases over a quarter (92 days) away from all hours of their person, counted or not
WITH stays AS (
    SELECT DISTINCT employee_id, first_day, last_day
    FROM stg_hours
    WHERE employee_id IN (SELECT employee_id FROM stg_incidents WHERE fate = 'used')
)
SELECT count(*) AS rows, count(*) AS cases, min(i.line) AS line
FROM stg_incidents AS i
WHERE i.fate = 'used' AND i.employee_id IN (SELECT employee_id FROM stays)
    AND NOT EXISTS (
        SELECT 1 FROM stays AS s
        WHERE s.employee_id = i.employee_id AND s.first_day <= i.event_date + 92 AND s.last_day >= i.event_date - 92
    )
HAVING count(*) > 0;
