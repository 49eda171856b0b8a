-- grain: one row; cases over a quarter (92 days) away from all hours of their person, counted or not
WITH cases AS (
    SELECT i.file_no, i.record, i.line, i.event_date, p.person
    FROM stg_incidents AS i
    JOIN work.people AS p ON p.employee_id = i.employee_id
    WHERE i.fate = 'used'
),
near AS (
    SELECT DISTINCT c.file_no, c.record
    FROM cases AS c
    JOIN work.hours AS h ON h.person = c.person
    JOIN work.slots AS s ON s.slot = h.slot AND s.first_day <= c.event_date + 92 AND s.last_day >= c.event_date - 92
)
SELECT count(*) AS rows, count(*) AS cases, min(c.line) AS line
FROM cases AS c
WHERE NOT EXISTS (SELECT 1 FROM near AS n WHERE n.file_no = c.file_no AND n.record = c.record)
HAVING count(*) > 0;
