-- grain: one row of the injury log with its fate, whether it is recordable, and whether it came from handling a client
-- is_handling is null where neither the log nor the rules below decide it
CREATE VIEW stg_incidents AS
WITH with_hours AS (
    SELECT DISTINCT m.unit
    FROM raw_hours AS h
    JOIN int_unit_map AS m ON m.given = h.unit
),
judged AS (
    SELECT i.*, m.unit AS review_unit,
        i.outcome IN ('death', 'days_away', 'restricted_or_transfer', 'other_recordable') AS is_recordable,
        i.outcome IN ('days_away', 'restricted_or_transfer') AS is_dart,
        CASE
            WHEN i.handling_related IS NOT NULL THEN i.handling_related
            WHEN i.activity = 'not_handling' THEN FALSE
            WHEN i.activity IS NOT NULL AND i.activity <> 'unknown' THEN TRUE
            WHEN i.event_type IN ('overexertion', 'repetitive') THEN i.source_person
            WHEN i.source_person = FALSE AND i.event_type <> 'unknown' THEN FALSE
            WHEN i.event_type IN ('violence', 'exposure', 'transport') THEN FALSE
            WHEN i.event_type IN ('slip_trip_fall', 'struck_or_caught', 'other')
                AND coalesce(i.source_person, FALSE) = FALSE THEN FALSE
        END AS is_handling
    FROM raw_incidents AS i
    JOIN int_unit_map AS m ON m.given = i.unit
)
SELECT j.file_no, j.record, j.line, j.case_number,
    CASE WHEN coalesce(j.privacy_case, FALSE) THEN NULL ELSE j.employee_id END AS employee_id,
    j.event_date, j.reported_date, j.review_unit AS unit, j.job_title, j.outcome, j.days_away, j.days_restricted,
    coalesce(j.case_type, 'injury') AS case_type, j.event_type, j.activity, j.source_person, j.body_part, j.nature,
    j.equipment_in_use, j.helpers, j.assist_share, j.client_weight_lb, coalesce(j.privacy_case, FALSE) AS privacy_case,
    j.claim_cost, j.cost_as_of, j.is_recordable, j.is_dart, j.is_handling,
    CASE
        WHEN j.event_date > s.as_of THEN 'after the exports were taken'
        WHEN j.event_date < s.review_start OR j.event_date > s.review_end THEN 'outside the review period'
        WHEN w.unit IS NULL THEN 'unit without hours'
        ELSE 'used'
    END AS fate
FROM judged AS j
CROSS JOIN settings AS s
LEFT JOIN with_hours AS w ON w.unit = j.review_unit;
