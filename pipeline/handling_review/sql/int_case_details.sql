-- grain: one used row of the injury log that came from handling, with what the trade asks of it
-- technique: the share of effort that staff supplied against the usual band of the technique. load: weight x share /
-- helpers against the limit, only where staff bore the weight themselves. equipment: was a class that suits the activity
-- in use, else was one in service on the unit that day
CREATE TABLE int_case_details AS
WITH fleet AS (
    SELECT m.unit, e.equipment, min(coalesce(e.in_service_on, DATE '0001-01-01')) AS in_service_on
    FROM raw_equipment AS e
    JOIN int_unit_map AS m ON m.given = e.unit
    WHERE coalesce(e.quantity, 1) > 0
    GROUP BY m.unit, e.equipment
),
listed AS (
    SELECT DISTINCT unit FROM fleet
),
suited AS (
    SELECT c.file_no, c.record, bool_or(c.equipment_in_use = s.equipment) AS is_in_use,
        bool_or(f.in_service_on <= c.event_date) AS is_on_unit
    FROM int_cases AS c
    JOIN suitable_equipment AS s ON s.activity = c.activity
    LEFT JOIN fleet AS f ON f.unit = c.unit AND f.equipment = s.equipment
    GROUP BY c.file_no, c.record
)
SELECT c.file_no, c.record, c.line, c.quarter, c.unit, c.is_recordable, c.outcome,
    coalesce(c.activity, 'unknown') AS activity,
    coalesce(c.equipment_in_use, 'not_given') AS equipment_in_use,
    CASE
        WHEN b.activity IS NULL THEN 'not_a_technique'
        WHEN c.assist_share IS NULL THEN 'not_known'
        WHEN c.assist_share > 50 AND c.assist_share < 75 THEN 'no_band'
        WHEN c.assist_share >= b.from_share AND c.assist_share <= b.to_share THEN 'in_band'
        ELSE 'outside_band'
    END AS technique,
    CASE
        WHEN l.activity IS NULL THEN 'not_counted'
        WHEN c.equipment_in_use NOT IN ('none', 'gait_belt') THEN 'not_counted'
        WHEN c.equipment_in_use IS NULL OR c.client_weight_lb IS NULL OR c.assist_share IS NULL OR c.helpers IS NULL
            THEN 'not_known'
        WHEN c.client_weight_lb * c.assist_share / 100 > 35 * c.helpers THEN 'over_limit'
        ELSE 'within_limit'
    END AS load,
    CASE
        WHEN u.record IS NULL THEN 'no_suited_class'
        WHEN u.is_in_use THEN 'in_use'
        WHEN c.equipment_in_use IS NULL THEN 'not_known'
        WHEN g.unit IS NULL THEN 'unit_not_listed'
        WHEN u.is_on_unit THEN 'on_unit_not_in_use'
        ELSE 'not_on_unit'
    END AS suited_equipment
FROM int_cases AS c
LEFT JOIN technique_bands AS b ON b.activity = c.activity
LEFT JOIN lifted_by_hand AS l ON l.activity = c.activity
LEFT JOIN suited AS u ON u.file_no = c.file_no AND u.record = c.record
LEFT JOIN listed AS g ON g.unit = c.unit
WHERE c.is_handling AND c.outcome <> 'near_miss'
ORDER BY c.file_no, c.record;
