-- grain: one employee id of the hours files; person counts from 1, and 0 stands for hours without an id
INSERT INTO raw_hours_people
SELECT CAST(row_number() OVER (ORDER BY min((file_no, record))) AS INTEGER) AS person, employee_id
FROM plain_hours
WHERE employee_id IS NOT NULL
GROUP BY employee_id;
