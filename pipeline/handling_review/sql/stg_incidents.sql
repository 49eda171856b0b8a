-- grain: one row of the injury log with its fate, whether it is recordable, and whether it came from handling a client
-- outcome: as given, else the most serious box ticked. is_handling is null where neither the log nor the rules decide it
CREATE VIEW stg_incidents AS
WITH with_hours AS (
    SELECT DISTINCT unit FROM int_unit_map WHERE is_in_hours
),
resolved AS (
    SELECT i.* EXCLUDE (outcome, privacy_case), m.unit AS review_unit,
        coalesce(i.outcome, CASE
            WHEN i.tick_death THEN 'death'
            WHEN i.tick_days_away THEN 'days_away'
            WHEN i.tick_restricted THEN 'restricted_or_transfer'
            WHEN i.tick_other THEN 'other_recordable'
        END) AS outcome,
        coalesce(i.tick_death, FALSE)::INT + coalesce(i.tick_days_away, FALSE)::INT
            + coalesce(i.tick_restricted, FALSE)::INT + coalesce(i.tick_other, FALSE)::INT AS boxes_ticked,
        coalesce(i.privacy_case, FALSE) AS privacy_case,
        CASE  -- midnight is what systems write where nobody gave a time
            WHEN i.event_time IS NULL OR regexp_matches(i.event_time, '^0?0:?00(:00)?$|^12:00(:00)? ?[Aa]') THEN NULL
            WHEN regexp_matches(i.event_time, '[Pp]\.?[Mm]') THEN CAST(regexp_extract(i.event_time, '^[0-9]{1,2}') AS INTEGER) % 12 + 12
            WHEN regexp_matches(i.event_time, '[Aa]\.?[Mm]') THEN CAST(regexp_extract(i.event_time, '^[0-9]{1,2}') AS INTEGER) % 12
            ELSE CAST(regexp_extract(i.event_time, '^[0-9]{1,2}') AS INTEGER)
        END AS event_hour,
        max(i.version) OVER (PARTITION BY i.case_number, date_part('year', i.event_date)) AS last_version
    FROM raw_incidents AS i
    JOIN int_unit_map AS m ON m.given = i.unit
),
judged AS (
    SELECT *,
        outcome IN ('death', 'days_away', 'restricted_or_transfer', 'other_recordable') AS is_recordable,
        outcome IN ('days_away', 'restricted_or_transfer') AS is_dart,
        CASE
            WHEN handling_related IS NOT NULL THEN handling_related
            WHEN activity = 'not_handling' THEN FALSE
            WHEN activity IS NOT NULL AND activity <> 'unknown' THEN TRUE
            WHEN event_type IN ('overexertion', 'repetitive') THEN source_person
            WHEN source_person = FALSE AND event_type <> 'unknown' THEN FALSE
            WHEN event_type IN ('violence', 'exposure', 'transport') THEN FALSE
            WHEN event_type IN ('slip_trip_fall', 'struck_or_caught', 'other')
                AND coalesce(source_person, FALSE) = FALSE THEN FALSE
        END AS is_handling
    FROM resolved
)
SELECT j.file_no, j.record, j.line, j.case_number,
    CASE WHEN j.privacy_case THEN NULL ELSE j.employee_id END AS employee_id,
    j.event_date, j.event_hour, j.reported_date, j.review_unit AS unit, j.job_title, j.outcome, j.boxes_ticked,
    j.days_away, j.days_restricted,
    coalesce(j.case_type, 'injury') AS case_type, j.event_type, j.activity, j.source_person, j.body_part, j.nature,
    j.equipment_in_use, j.helpers, j.assist_share, j.client_weight_lb, j.privacy_case, j.person_type,
    j.claim_cost, j.cost_as_of, j.is_recordable, j.is_dart, j.is_handling,
    CASE
        WHEN r.record IS NOT NULL THEN 'already in another file'
        WHEN j.row_status IN ('struck_out', 'void') THEN 'struck out'
        WHEN j.version < j.last_version THEN 'older version'
        WHEN p.person_type IS NULL THEN 'not staff'
        WHEN j.outcome IS NULL THEN 'no outcome'
        WHEN j.event_date > s.as_of THEN 'after the exports were taken'
        WHEN j.event_date < s.review_start OR j.event_date > s.review_end THEN 'outside the review period'
        WHEN w.unit IS NULL THEN 'unit without hours'
        ELSE 'used'
    END AS fate
FROM judged AS j
CROSS JOIN settings AS s
LEFT JOIN with_hours AS w ON w.unit = j.review_unit
LEFT JOIN person_types AS p ON p.person_type = coalesce(j.person_type, 'employee')
LEFT JOIN int_repeated_rows AS r ON r.file = 'incidents' AND r.file_no = j.file_no AND r.record = j.record;
