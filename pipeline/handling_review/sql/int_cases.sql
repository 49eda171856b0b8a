-- grain: one used row of the injury log with its quarter, phase, band and side of go-live
CREATE TABLE int_cases AS
SELECT i.* EXCLUDE (fate), q.quarter,
    coalesce(t.phase, CASE
        WHEN i.employee_id IS NULL OR s.absent_is_unknown THEN 'unknown' ELSE 'never'
    END) AS phase,
    coalesce(t.band, 'none') AS band,
    coalesce(t.lapsed, FALSE) AS lapsed,
    coalesce(t.is_remedial, FALSE) AS is_remedial,
    CASE
        WHEN u.program_start IS NULL THEN 'none' WHEN i.event_date < u.program_start THEN 'before' ELSE 'after'
    END AS go_live_phase
FROM stg_incidents AS i
CROSS JOIN settings AS s
JOIN quarters AS q ON i.event_date BETWEEN q.quarter_start AND q.quarter_end
LEFT JOIN stg_units AS u ON u.unit = i.unit
LEFT JOIN int_training_intervals AS t
    ON t.employee_id = i.employee_id AND i.event_date BETWEEN t.from_day AND t.to_day
WHERE i.fate = 'used'
ORDER BY i.event_date, i.case_number, i.file_no, i.record;
