-- grain: one run of days of a unit that its hours do not cover, longer than the largest gap allowed
-- a unit is expected from the later of the review's start and its opening to the earlier of the review's end, the day
-- hours are complete through and its closing; without an opening or closing day, from its first to its last hours or
-- case, since somebody worked there on the day of a case; units whose hours start or end where those of the whole
-- facility do are expected for the whole review
CREATE TABLE int_hours_gaps AS
WITH covered AS (
    SELECT unit, from_day, to_day,
        max(to_day) OVER (
            PARTITION BY unit ORDER BY from_day, to_day ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ) AS covered_before
    FROM int_unit_periods
),
case_days AS (
    SELECT unit, min(event_date) AS first_case, max(event_date) AS last_case
    FROM stg_incidents
    WHERE fate = 'used'
    GROUP BY unit
),
expected AS (
    SELECT c.unit,
        greatest(s.review_start, coalesce(u.opened_on, CASE
            WHEN min(c.from_day) > f.first_hours + s.largest_gap_days THEN least(min(c.from_day), min(d.first_case))
        END)) AS first_day,
        least(s.review_end, s.hours_through, coalesce(u.closed_on, CASE
            WHEN max(c.to_day) < f.last_hours - s.largest_gap_days THEN greatest(max(c.to_day), max(d.last_case))
        END)) AS last_day,
        min(c.from_day) AS first_hours,
        max(c.to_day) AS last_hours
    FROM covered AS c
    CROSS JOIN settings AS s
    CROSS JOIN (SELECT min(from_day) AS first_hours, max(to_day) AS last_hours FROM covered) AS f
    LEFT JOIN stg_units AS u ON u.unit = c.unit
    LEFT JOIN case_days AS d ON d.unit = c.unit
    GROUP BY c.unit, s.review_start, s.review_end, s.hours_through, s.largest_gap_days, u.opened_on, u.closed_on,
        f.first_hours, f.last_hours
),
gaps AS (
    SELECT c.unit, c.covered_before + 1 AS from_day, c.from_day - 1 AS to_day
    FROM covered AS c
    WHERE c.covered_before < c.from_day - 1
    UNION ALL
    SELECT unit, first_day, first_hours - 1 FROM expected WHERE first_hours > first_day
    UNION ALL
    SELECT unit, last_hours + 1, last_day FROM expected WHERE last_hours < last_day
)
SELECT g.unit, g.from_day, g.to_day, g.to_day - g.from_day + 1 AS days
FROM gaps AS g
CROSS JOIN settings AS s
WHERE g.to_day - g.from_day + 1 > s.largest_gap_days
ORDER BY g.unit, g.from_day;
