-- grain: one used row of the hours files x one stretch of its days that lies in one quarter, phase, band and side of go-live
-- hours are shared over the days of their period: the first k of d days hold hours * k / d, counted in hundred-millionths
-- of an hour and rounded toward zero, so that parts always add up to the row's hours and a correction takes back its own
-- a view: the parts are worked out when they are asked for (person-time, and the trace of one number)
CREATE VIEW int_hours_parts AS
WITH pieces AS (
    SELECT h.file_no, h.record, h.line, h.employee_id, h.unit, u.quarter, u.go_live_phase, h.source,
        coalesce(t.phase, CASE
            WHEN h.employee_id IS NULL OR s.absent_is_unknown THEN 'unknown' ELSE 'never'
        END) AS phase,
        coalesce(t.band, 'none') AS band,
        coalesce(t.lapsed, FALSE) AS lapsed,
        coalesce(t.is_remedial, FALSE) AS is_remedial,
        CAST(h.hours * 10000 AS BIGINT) * 10000 AS hours_e8,
        h.last_day - h.first_day + 1 AS days,
        greatest(u.from_day, coalesce(t.from_day, u.from_day)) - h.first_day AS days_before,
        least(u.to_day, coalesce(t.to_day, u.to_day)) - h.first_day + 1 AS days_through
    FROM stg_hours AS h
    CROSS JOIN settings AS s
    JOIN int_unit_periods AS u
        ON u.unit = h.unit AND u.first_day = h.first_day AND u.last_day = h.last_day
    LEFT JOIN int_training_intervals AS t
        ON t.employee_id = h.employee_id AND t.from_day <= u.to_day AND t.to_day >= u.from_day
    WHERE h.fate = 'used'
)
SELECT file_no, record, line, employee_id, unit, quarter, phase, band, lapsed, is_remedial, go_live_phase, source,
    days, days_through - days_before AS days_in_part, hours_e8 AS row_e8,
    (hours_e8 * days_through) // days - (hours_e8 * days_before) // days AS part_e8
FROM pieces;
