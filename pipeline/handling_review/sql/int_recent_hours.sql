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
slots AS (
    SELECT s.slot, s.last_day - s.first_day + 1 AS days,
        greatest(s.first_day, l.last_day - l.active_days + 1) - s.first_day AS days_before,
        least(s.last_day, l.last_day) - s.first_day + 1 AS days_through
    FROM work.slot_facts AS s
    JOIN last_days AS l ON s.first_day <= l.last_day AND s.last_day > l.last_day - l.active_days
),
recent AS (
    SELECT h.person, h.unit, count(*) AS hours_rows,
        sum((CAST(h.hours * 10000 AS BIGINT) * 10000 * s.days_through) // s.days
            - (CAST(h.hours * 10000 AS BIGINT) * 10000 * s.days_before) // s.days) AS hours_e8
    FROM work.fated_hours AS h
    JOIN slots AS s ON s.slot = h.slot
    WHERE h.fate = 'used'
    GROUP BY h.person, h.unit
)
SELECT p.employee_id, r.unit, r.hours_rows, CAST(r.hours_e8 AS BIGINT) AS hours_e8
FROM recent AS r
LEFT JOIN work.people AS p ON p.person = r.person
ORDER BY p.employee_id NULLS FIRST, r.unit;
