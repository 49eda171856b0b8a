-- grain: one person (null: hours without an id) x unit x quarter x phase x band x lapsed x side of go-live x source
CREATE TABLE int_person_time AS
SELECT employee_id, unit, quarter, phase, band, lapsed, is_remedial, go_live_phase, source,
    CAST(sum(part_e8) AS BIGINT) AS hours_e8
FROM int_hours_parts
GROUP BY employee_id, unit, quarter, phase, band, lapsed, is_remedial, go_live_phase, source
ORDER BY employee_id NULLS FIRST, unit, quarter, phase, band, lapsed, go_live_phase, source;
