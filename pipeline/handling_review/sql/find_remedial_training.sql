-- grain: one row; first completions within 30 days after the person's own recordable injury
WITH first_completion AS (
    SELECT employee_id, min(completed_on) AS completed_on FROM stg_training WHERE fate = 'used' GROUP BY employee_id
)
SELECT count(DISTINCT f.employee_id) AS rows
FROM first_completion AS f
JOIN stg_incidents AS i ON i.employee_id = f.employee_id
    AND i.is_recordable AND f.completed_on BETWEEN i.event_date AND i.event_date + 30
WHERE i.fate = 'used'
HAVING count(*) > 0;
