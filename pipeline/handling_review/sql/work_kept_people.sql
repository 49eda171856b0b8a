-- grain: one person of the hours files with its place among all ids, from 1
CREATE TABLE work.kept_people AS
SELECT person, employee_id, CAST(row_number() OVER (ORDER BY employee_id) AS INTEGER) AS place
FROM raw_hours_people
ORDER BY person;
