-- grain: one unit that any file names, with what the units file says of it
CREATE VIEW stg_units AS
WITH listed AS (
    SELECT m.unit, u.name, u.care_type, u.program_start, u.comparison, u.opened_on, u.closed_on, u.beds
    FROM raw_units AS u
    JOIN int_unit_map AS m ON m.given = u.unit
    QUALIFY row_number() OVER (PARTITION BY m.unit ORDER BY u.file_no, u.record) = 1
),
named AS (
    SELECT DISTINCT m.unit
    FROM int_unit_map AS m
    WHERE m.given IN (SELECT unit FROM raw_hours) OR m.given IN (SELECT unit FROM raw_units)
)
SELECT n.unit, coalesce(l.name, n.unit) AS name, l.care_type, l.program_start,
    coalesce(l.comparison, FALSE) AS comparison, l.opened_on, l.closed_on, l.beds
FROM named AS n
LEFT JOIN listed AS l ON l.unit = n.unit;
