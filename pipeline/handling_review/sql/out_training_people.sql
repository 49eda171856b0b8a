-- grain: one quarter; people with hours in it, by their training at some time of the quarter
CREATE TABLE out_training_people AS
SELECT q.quarter,
    count(DISTINCT p.employee_id) AS people_with_hours,
    count(DISTINCT p.employee_id) FILTER (p.phase = 'after' AND NOT p.lapsed) AS people_trained,
    count(DISTINCT p.employee_id) FILTER (p.lapsed) AS people_lapsed
FROM quarters AS q
LEFT JOIN int_person_time AS p ON p.quarter = q.quarter AND p.hours_e8 > 0
GROUP BY q.quarter, q.quarter_start
ORDER BY q.quarter_start;
