-- grain: one person (null: hours without an id) x unit x quarter x phase x band x lapsed x side of go-live x source
-- what the parts of int_hours_parts sum to
CREATE TABLE int_person_time AS
WITH cells AS (
    SELECT DISTINCT cell_no, unit, quarter, go_live_phase, source FROM work.slot_parts
),
kinds AS (
    SELECT DISTINCT kind_no, phase, band, lapsed, is_remedial FROM work.stretches
)
SELECT p.employee_id, c.unit, c.quarter, k.phase, k.band, k.lapsed, k.is_remedial, c.go_live_phase, c.source,
    CAST(sum(t.hours_e8) AS BIGINT) AS hours_e8
FROM work.person_time AS t
JOIN cells AS c ON c.cell_no = t.cell_no
JOIN kinds AS k ON k.kind_no = t.kind_no
LEFT JOIN work.people AS p ON p.person = t.person
GROUP BY p.employee_id, c.unit, c.quarter, k.phase, k.band, k.lapsed, k.is_remedial, c.go_live_phase, c.source
ORDER BY p.employee_id NULLS FIRST, c.unit, c.quarter, k.phase, k.band, k.lapsed, c.go_live_phase, c.source;
