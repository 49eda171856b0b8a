-- grain: one used row of the hours files x one stretch of its days that lies in one quarter and time since the first hours
-- hours are shared over the days of their period, as in int_hours_parts
CREATE VIEW int_staff_parts AS
WITH pieces AS (
    SELECT h.file_no, h.record, h.line, u.quarter, CAST(h.hours * 10000 AS BIGINT) * 10000 AS hours_e8,
        h.last_day - h.first_day + 1 AS days,
        coalesce(j.job, lower(h.role), 'not given') AS job,
        t.tenure,
        greatest(u.from_day, coalesce(CAST(f.first_day + t.from_days AS DATE), u.from_day)) - h.first_day AS days_before,
        least(u.to_day, coalesce(CAST(f.first_day + t.to_days AS DATE), u.to_day)) - h.first_day + 1 AS days_through
    FROM stg_hours AS h
    JOIN int_unit_periods AS u ON u.unit = h.unit AND u.first_day = h.first_day AND u.last_day = h.last_day
    LEFT JOIN int_first_days AS f ON f.employee_id = h.employee_id AND f.is_seen_to_start
    JOIN tenure_bands AS t ON (f.employee_id IS NULL) = (t.from_days IS NULL)
    LEFT JOIN jobs AS j ON j.title = lower(h.role)
    WHERE h.fate = 'used'
)
SELECT file_no, record, line, quarter, job, tenure, days, days_through - days_before AS days_in_part, hours_e8 AS row_e8,
    (hours_e8 * days_through) // days - (hours_e8 * days_before) // days AS part_e8
FROM pieces
WHERE days_through > days_before;
