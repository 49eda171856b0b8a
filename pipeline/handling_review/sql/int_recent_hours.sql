-- grain: one person (null: hours without an id) x unit with hours in the last active_days days that the exports know of
-- these days end on the last day with hours that lies inside the review, inside what is said to be complete, and not
-- after the day of the exports; a row's hours are shared over the days of its period, as in int_person_time
CREATE VIEW int_recent_hours AS
WITH last_days AS (
    SELECT least(s.review_end, s.hours_through, s.as_of, max(h.last_day)) AS last_day, s.active_days
    FROM stg_hours AS h
    CROSS JOIN settings AS s
    WHERE h.fate = 'used'
    GROUP BY s.review_end, s.hours_through, s.as_of, s.active_days
),
recent AS (
    SELECT h.employee_id, h.unit,
        CAST(h.hours * 100000000 AS BIGINT) AS hours_e8,
        h.last_day - h.first_day + 1 AS days,
        greatest(h.first_day, l.last_day - l.active_days + 1) - h.first_day AS days_before,
        least(h.last_day, l.last_day) - h.first_day + 1 AS days_through
    FROM stg_hours AS h
    JOIN last_days AS l ON h.first_day <= l.last_day AND h.last_day > l.last_day - l.active_days
    WHERE h.fate = 'used'
)
SELECT employee_id, unit, count(*) AS hours_rows,
    CAST(sum((hours_e8 * days_through) // days - (hours_e8 * days_before) // days) AS BIGINT) AS hours_e8
FROM recent
GROUP BY employee_id, unit;
