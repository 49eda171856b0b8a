-- grain: one quarter x job group x time since the first hours; hours are shared over the days of their period
CREATE TABLE out_staff_hours AS
WITH pieces AS (
    SELECT u.quarter, CAST(h.hours * 100000000 AS BIGINT) AS hours_e8, h.last_day - h.first_day + 1 AS days,
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
SELECT quarter, job, tenure,
    CAST(sum((hours_e8 * days_through) // days - (hours_e8 * days_before) // days) / 100000000.0 AS DOUBLE) AS hours
FROM pieces
WHERE days_through > days_before
GROUP BY quarter, job, tenure
ORDER BY quarter, job, tenure;
