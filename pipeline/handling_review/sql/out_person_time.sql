-- grain: one quarter x unit x phase x side of go-live x lapsed x series, wherever there are hours or cases
CREATE TABLE out_person_time AS
WITH hours AS (
    SELECT quarter, unit, phase, go_live_phase, lapsed, sum(hours_e8) AS hours_e8
    FROM int_person_time
    GROUP BY quarter, unit, phase, go_live_phase, lapsed
),
cases AS (
    SELECT quarter, unit, phase, go_live_phase, lapsed,
        count(*) FILTER (is_recordable AND is_handling) AS handling,
        count(*) FILTER (is_recordable AND NOT is_handling) AS non_handling,
        count(*) FILTER (is_recordable) AS recordable,
        count(*) FILTER (is_dart) AS dart,
        count(*) FILTER (outcome = 'days_away') AS days_away,
        count(*) FILTER (outcome = 'first_aid') AS first_aid
    FROM int_cases
    GROUP BY quarter, unit, phase, go_live_phase, lapsed
),
cells AS (
    SELECT quarter, unit, phase, go_live_phase, lapsed FROM hours
    UNION SELECT quarter, unit, phase, go_live_phase, lapsed FROM cases
)
SELECT k.quarter, k.unit, k.phase, k.go_live_phase, k.lapsed, r.series,
    CAST(coalesce(CASE r.series
        WHEN 'handling' THEN c.handling
        WHEN 'non_handling' THEN c.non_handling
        WHEN 'recordable' THEN c.recordable
        WHEN 'dart' THEN c.dart
        WHEN 'days_away' THEN c.days_away
        WHEN 'first_aid' THEN c.first_aid
    END, 0) AS BIGINT) AS events,
    CAST(coalesce(h.hours_e8, 0) / 100000000.0 AS DOUBLE) AS hours
FROM cells AS k
CROSS JOIN series AS r
LEFT JOIN hours AS h
    ON h.quarter = k.quarter AND h.unit = k.unit AND h.phase = k.phase
    AND h.go_live_phase = k.go_live_phase AND h.lapsed = k.lapsed
LEFT JOIN cases AS c
    ON c.quarter = k.quarter AND c.unit = k.unit AND c.phase = k.phase
    AND c.go_live_phase = k.go_live_phase AND c.lapsed = k.lapsed
ORDER BY k.quarter, k.unit, k.phase, k.go_live_phase, k.lapsed, r.place;
