-- grain: one unit with hours in the review
CREATE TABLE out_units AS
SELECT u.unit, u.name, u.care_type, u.program_start, u.comparison
FROM stg_units AS u
WHERE u.unit IN (SELECT unit FROM int_person_time)
ORDER BY u.unit;
