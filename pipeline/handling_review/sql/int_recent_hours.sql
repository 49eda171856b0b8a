-- grain: one person (null: hours without an id) x unit with hours in the last active_days days that the exports know of
-- these days end on the last day with hours that lies inside the review, inside what is said to be complete, and not
-- after the day of the exports; a row's hours are shared over the days of its period, as in int_person_time
CREATE TABLE int_recent_hours AS
WITH last_days AS (
    SELECT least(s.review_end, s.hours_through, s.as_of, max(h.last_day)) AS last_day, s.active_days
    FROM work.hour_groups AS h
    CROSS JOIN settings AS s
    WHERE h.fate = 'used'
    GROUP BY s.review_end, s.hours_through, s.as_of, s.active_days
),
recent AS (
    SELECT h.person, h.unit,
        CAST(h.hours * 10000 AS BIGINT) * 10000 AS hours_e8,
        h.last_day - h.first_day + 1 AS days,
        greatest(h.first_day, l.last_day - l.active_days + 1) - h.first_day AS days_before,
        least(h.last_day, l.last_day) - h.first_day + 1 AS days_through
    FROM work.fated_hours AS h
    JOIN last_days AS l ON h.first_day <= l.last_day AND h.last_day > l.last_day - l.active_days
    WHERE h.fate = 'used'
)
SELECT p.employee_id, r.unit, count(*) AS hours_rows,
    CAST(sum((r.hours_e8 * r.days_through) // r.days - (r.hours_e8 * r.days_before) // r.days) AS BIGINT) AS hours_e8
FROM recent AS r
LEFT JOIN work.people AS p ON p.person = r.person
GROUP BY p.employee_id, r.unit
ORDER BY p.employee_id NULLS FIRST, r.unit;
