-- grain: one row; where nobody who left is in the training files although many have, these may list current staff only
WITH last_seen AS (
    SELECT p.employee_id, max(q.quarter_start) AS last_quarter, sum(p.hours_e8) / 100000000.0 AS hours,
        p.employee_id IN (SELECT employee_id FROM stg_training) AS in_training
    FROM int_person_time AS p
    JOIN quarters AS q ON q.quarter = p.quarter
    WHERE p.employee_id IS NOT NULL
    GROUP BY p.employee_id
),
split AS (
    SELECT count(*) FILTER (last_quarter < (SELECT max(quarter_start) FROM quarters)) AS left_people,
        count(*) FILTER (last_quarter < (SELECT max(quarter_start) FROM quarters) AND in_training) AS left_trained,
        count(*) FILTER (last_quarter = (SELECT max(quarter_start) FROM quarters)) AS stayed,
        count(*) FILTER (last_quarter = (SELECT max(quarter_start) FROM quarters) AND in_training) AS stayed_trained,
        sum(hours) FILTER (last_quarter < (SELECT max(quarter_start) FROM quarters) AND NOT in_training) AS hours
    FROM last_seen
)
SELECT left_people AS rows, left_trained, stayed, stayed_trained, CAST(hours AS DOUBLE) AS hours
FROM split
WHERE left_people >= 10 AND stayed >= 10 AND 20 * left_trained <= left_people AND 2 * stayed_trained >= stayed;
