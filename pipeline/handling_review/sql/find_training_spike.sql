-- grain: one day on which at least half of all people have their first completion, where there are 20 people or more
WITH first_completion AS (
    SELECT employee_id, min(completed_on) AS completed_on FROM stg_training WHERE fate = 'used' GROUP BY employee_id
)
SELECT CAST(completed_on AS VARCHAR) AS found, count(*) AS rows, (SELECT count(*) FROM first_completion) AS people
FROM first_completion
GROUP BY completed_on
HAVING count(*) >= 20 AND 2 * count(*) >= (SELECT count(*) FROM first_completion)
ORDER BY completed_on;
