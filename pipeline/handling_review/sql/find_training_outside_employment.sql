-- grain: one row; people first trained over 31 days (two pay periods) before their first hours, or after their last
-- nobody is looked at whose first or last hours are those of the files: they may have worked before or go on working
WITH stays AS (
    SELECT p.employee_id, d.first_day, d.last_day
    FROM work.person_days AS d
    JOIN work.people AS p ON p.person = d.person
    WHERE d.first_day IS NOT NULL
),
files AS (
    SELECT min(first_day) AS first_day, max(last_day) AS last_day FROM stays
),
first_completion AS (
    SELECT employee_id, min(completed_on) AS completed_on FROM stg_training WHERE fate = 'used' GROUP BY employee_id
)
SELECT count(*) FILTER (c.completed_on < s.first_day) AS before_hire, count(*) FILTER (c.completed_on > s.last_day) AS after_leaving,
    count(*) AS rows
FROM first_completion AS c
JOIN stays AS s ON s.employee_id = c.employee_id
CROSS JOIN files AS f
WHERE (c.completed_on < s.first_day - 31 AND s.first_day > f.first_day + 31)
    OR (c.completed_on > s.last_day + 31 AND s.last_day < f.last_day - 31)
HAVING count(*) > 0;
