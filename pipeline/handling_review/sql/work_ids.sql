-- grain: one employee id: without leading zeros if it is all digits, in lower case, and its width; or pseudonyms of these
CREATE TABLE work.ids AS
SELECT employee_id, bare, folded, width
FROM raw_ids
UNION ALL
SELECT employee_id, CASE WHEN regexp_matches(employee_id, '^[0-9]+$') THEN ltrim(employee_id, '0') END, lower(employee_id),
    length(employee_id)
FROM (
    SELECT employee_id FROM work.people
    UNION
    SELECT employee_id FROM raw_training
    UNION
    SELECT employee_id FROM raw_incidents
)
WHERE employee_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM raw_ids);
