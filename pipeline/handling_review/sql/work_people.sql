-- grain: one employee id of the hours files; person counts from 1, and 0 stands for hours without an id
CREATE TABLE work.people AS
SELECT person, employee_id FROM raw_hours_people ORDER BY person;
