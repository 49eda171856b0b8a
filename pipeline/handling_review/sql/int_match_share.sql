-- grain: one row; share of the people in the training files whose id stands in the hours files
SELECT CAST(count(*) FILTER (t.employee_id IN (SELECT employee_id FROM work.people)) AS DOUBLE)
    / nullif(count(*), 0) AS match_share
FROM (SELECT DISTINCT employee_id FROM raw_training) AS t;
