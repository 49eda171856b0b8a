-- grain: one person (null: hours without an id) x unit x quarter x phase x band x lapsed x side of go-live x source, in order
-- what the parts of int_hours_parts sum to; rows are summed and put in order by the numbers of what they name
CREATE TABLE work.person_sums AS
WITH cells AS MATERIALIZED (
    SELECT *, dense_rank() OVER (ORDER BY unit, quarter) AS place_no, dense_rank() OVER (ORDER BY go_live_phase, source) AS side_no
    FROM (SELECT DISTINCT cell_no, unit, quarter, go_live_phase, source FROM work.slot_parts)
),
kinds AS MATERIALIZED (
    SELECT *, dense_rank() OVER (ORDER BY phase, band, lapsed, is_remedial) AS phase_no
    FROM (SELECT DISTINCT kind_no, phase, band, lapsed, is_remedial FROM work.stretches)
),
people AS (
    SELECT person, employee_id, row_number() OVER (ORDER BY employee_id) AS person_no FROM work.people
),
sums AS (
    SELECT t.person, c.place_no, k.phase_no, c.side_no, CAST(sum(t.hours_e8) AS BIGINT) AS hours_e8
    FROM work.person_time AS t
    JOIN cells AS c ON c.cell_no = t.cell_no
    JOIN kinds AS k ON k.kind_no = t.kind_no
    GROUP BY t.person, c.place_no, k.phase_no, c.side_no
)
SELECT p.employee_id, c.unit, c.quarter, k.phase, k.band, k.lapsed, k.is_remedial, s.go_live_phase, s.source, t.hours_e8
FROM sums AS t
JOIN (SELECT DISTINCT place_no, unit, quarter FROM cells) AS c ON c.place_no = t.place_no
JOIN (SELECT DISTINCT phase_no, phase, band, lapsed, is_remedial FROM kinds) AS k ON k.phase_no = t.phase_no
JOIN (SELECT DISTINCT side_no, go_live_phase, source FROM cells) AS s ON s.side_no = t.side_no
LEFT JOIN people AS p ON p.person = t.person
ORDER BY coalesce(p.person_no, 0), t.place_no, t.phase_no, t.side_no;
