-- grain: one row; people in the training files whose id is not in the hours files
SELECT count(*) FILTER (h.employee_id IS NULL) AS rows, count(*) AS people,
    (SELECT absent_is_unknown FROM settings) AS is_unknown
FROM (SELECT DISTINCT employee_id FROM stg_training) AS t
LEFT JOIN work.people AS h ON h.employee_id = t.employee_id
HAVING count(*) FILTER (h.employee_id IS NULL) > 0;
