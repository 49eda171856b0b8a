-- grain: one unit of the review with what the units file says of it; units joined by a change are one unit, live from
-- the first go-live day among them, a comparison unit only if all are
CREATE VIEW stg_units AS
WITH listed AS (
    SELECT m.unit, count(*) AS parts, min(u.name) AS name, min(u.care_type) AS care_type,
        min(u.program_start) AS program_start, bool_and(coalesce(u.comparison, FALSE)) AS comparison,
        CASE WHEN count(u.opened_on) = count(*) THEN min(u.opened_on) END AS opened_on,
        CASE WHEN count(u.closed_on) = count(*) THEN max(u.closed_on) END AS closed_on,
        sum(u.beds) AS beds
    FROM raw_units AS u
    JOIN int_unit_map AS m ON m.given = u.unit
    GROUP BY m.unit
),
named AS (
    SELECT DISTINCT m.unit
    FROM int_unit_map AS m
    WHERE m.is_in_hours OR m.given IN (SELECT unit FROM raw_units)
)
SELECT n.unit, CASE WHEN l.parts = 1 AND l.name IS NOT NULL THEN l.name ELSE n.unit END AS name, l.care_type,
    l.program_start, coalesce(l.comparison, FALSE) AS comparison, l.opened_on, l.closed_on, CAST(l.beds AS BIGINT) AS beds
FROM named AS n
LEFT JOIN listed AS l ON l.unit = n.unit;
