-- grain: one spelling of a unit in any file, with the unit that it stands for, and whether the hours files hold it
CREATE TABLE int_unit_map AS
WITH spellings AS (
    SELECT unit AS given FROM raw_units
    UNION SELECT unit FROM work.slots
    UNION SELECT unit FROM raw_incidents
    UNION SELECT unit FROM raw_equipment
    UNION SELECT unit FROM raw_observations
    UNION SELECT unit FROM raw_exposure
    UNION SELECT unit FROM raw_events
),
known AS (
    SELECT unit_key, min(unit) AS unit, min(rank) AS rank
    FROM (
        SELECT unit_key, unit, rank FROM unit_names
        UNION ALL SELECT lower(unit), min(unit), 3 FROM unit_names WHERE rank = 0 GROUP BY lower(unit)
    )
    GROUP BY unit_key, rank
    QUALIFY row_number() OVER (PARTITION BY unit_key ORDER BY rank) = 1
),
first_spelling AS (
    SELECT lower(given) AS unit_key, min(given) AS unit
    FROM spellings
    GROUP BY lower(given)
)
SELECT s.given, coalesce(k.unit, f.unit) AS unit, k.unit IS NULL AS is_unlisted,
    s.given IN (SELECT unit FROM work.slots) AS is_in_hours
FROM spellings AS s
LEFT JOIN known AS k ON k.unit_key = lower(s.given)
LEFT JOIN first_spelling AS f ON f.unit_key = lower(s.given)
WHERE s.given IS NOT NULL
ORDER BY s.given;
