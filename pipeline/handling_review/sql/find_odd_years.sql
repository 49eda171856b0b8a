-- grain: one row; hours a person a year where the average lies outside 120 to 4,500 (the screen of a public analysis)
WITH people AS (
    SELECT count(DISTINCT employee_id) AS people, sum(hours_e8) / 100000000.0 AS hours
    FROM int_person_time
    WHERE employee_id IS NOT NULL
)
SELECT CAST(p.hours / nullif(p.people, 0) / ((s.review_end - s.review_start + 1) / 365.25) AS DOUBLE) AS a_year,
    p.people AS rows, CAST(p.hours AS DOUBLE) AS hours
FROM people AS p
CROSS JOIN settings AS s
WHERE p.people > 0 AND (
    p.hours / p.people / ((s.review_end - s.review_start + 1) / 365.25) > 4500
    OR p.hours / p.people / ((s.review_end - s.review_start + 1) / 365.25) < 120 AND s.review_end - s.review_start > 350
);
