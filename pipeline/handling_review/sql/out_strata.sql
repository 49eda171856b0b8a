-- grain: one quarter x unit x phase x band x lapsed x side of go-live x agency or not x remedial or not
-- what every sensitivity row is summed from. first_*: the first handling case of each person only
CREATE TABLE out_strata AS
WITH hours AS (
    SELECT quarter, unit, phase, band, lapsed, go_live_phase, source = 'agency' OR employee_id IS NULL AS is_agency,
        is_remedial, sum(hours_e8) AS hours_e8
    FROM int_person_time
    GROUP BY ALL
),
ranked AS (
    SELECT *,
        employee_id IS NULL OR row_number() OVER (
            PARTITION BY employee_id, is_recordable AND coalesce(is_handling, FALSE)
            ORDER BY event_date, case_number, file_no, record
        ) = 1 AS is_first
    FROM int_cases
),
cases AS (
    SELECT quarter, unit, phase, band, lapsed, go_live_phase, employee_id IS NULL AS is_agency, is_remedial,
        count(*) FILTER (is_recordable AND is_handling) AS handling,
        count(*) FILTER (is_recordable AND NOT is_handling) AS non_handling,
        count(*) FILTER (is_recordable) AS recordable,
        count(*) FILTER (is_dart) AS dart,
        count(*) FILTER (outcome = 'days_away') AS days_away,
        count(*) FILTER (is_recordable AND is_handling AND is_first) AS first_handling,
        count(*) FILTER (is_recordable AND is_handling AND case_type <> 'respiratory') AS handling_not_respiratory,
        count(*) FILTER (is_recordable AND is_handling IS NULL) AS unclassified
    FROM ranked
    GROUP BY ALL
),
cells AS (
    SELECT quarter, unit, phase, band, lapsed, go_live_phase, is_agency, is_remedial FROM hours
    UNION
    SELECT quarter, unit, phase, band, lapsed, go_live_phase, is_agency, is_remedial FROM cases
)
SELECT k.*, CAST(coalesce(h.hours_e8, 0) / 100000000.0 AS DOUBLE) AS hours,
    coalesce(c.handling, 0) AS handling, coalesce(c.non_handling, 0) AS non_handling,
    coalesce(c.recordable, 0) AS recordable, coalesce(c.dart, 0) AS dart, coalesce(c.days_away, 0) AS days_away,
    coalesce(c.first_handling, 0) AS first_handling,
    coalesce(c.handling_not_respiratory, 0) AS handling_not_respiratory,
    coalesce(c.unclassified, 0) AS unclassified
FROM cells AS k
LEFT JOIN hours AS h USING (quarter, unit, phase, band, lapsed, go_live_phase, is_agency, is_remedial)
LEFT JOIN cases AS c USING (quarter, unit, phase, band, lapsed, go_live_phase, is_agency, is_remedial)
ORDER BY ALL;
