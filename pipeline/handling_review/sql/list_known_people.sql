-- grain: one person of the rows that were taken over; they are numbered first, without a gap
SELECT employee_id AS value, person AS number
FROM source.main.raw_hours_people
WHERE person <= (SELECT max(person) FROM raw_hours_rows)
ORDER BY person;
