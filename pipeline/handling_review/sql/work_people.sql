-- grain: one employee id of the hours files; person counts from 1, and 0 stands for hours without an id
CREATE TABLE work.people AS
SELECT CAST(row_number() OVER (ORDER BY employee_id) AS INTEGER) AS person, employee_id
FROM (SELECT DISTINCT employee_id FROM raw_hours WHERE employee_id IS NOT NULL);
