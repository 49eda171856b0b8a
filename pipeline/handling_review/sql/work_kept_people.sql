-- grain: one person of the hours files with its place among all ids (from 1) and two hashes of its id
CREATE TABLE work.kept_people AS
SELECT person, employee_id, CAST(row_number() OVER (ORDER BY employee_id) AS INTEGER) AS place,
    hash(employee_id) AS one, hash('2', employee_id) AS two
FROM raw_hours_people
ORDER BY person;
