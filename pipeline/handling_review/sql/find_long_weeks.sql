-- grain: one row; people whose hours in a quarter come to more than the weekly limit on average
WITH quarters_worked AS (
    SELECT p.employee_id, p.quarter, sum(p.hours_e8) / 100000000.0 AS hours,
        (least(q.quarter_end, s.review_end) - greatest(q.quarter_start, s.review_start) + 1) / 7.0 AS weeks, s.hours_per_week
    FROM int_person_time AS p
    JOIN quarters AS q ON q.quarter = p.quarter
    CROSS JOIN settings AS s
    WHERE p.employee_id IS NOT NULL
    GROUP BY p.employee_id, p.quarter, q.quarter_start, q.quarter_end, s.review_start, s.review_end, s.hours_per_week
)
SELECT count(*) AS rows, CAST(sum(hours) AS DOUBLE) AS hours, min(hours_per_week) AS per_week
FROM quarters_worked
WHERE hours > hours_per_week * weeks
HAVING count(*) > 0;
