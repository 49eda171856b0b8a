-- grain: one calendar year of the posted annual summary x one figure of it
-- log: rows of the log that count as staff, whatever the unit; set_aside: rows of that year that could not be used
CREATE TABLE out_reconciliation AS
WITH years AS (
    SELECT a.year, a.deaths, a.days_away_cases, a.restricted_cases, a.other_cases, a.hours,
        make_date(a.year, 1, 1) AS first_day, make_date(a.year, 12, 31) AS last_day
    FROM raw_annual_totals AS a
),
cases AS (
    SELECT CAST(date_part('year', event_date) AS BIGINT) AS year, outcome,
        count(*) FILTER (fate = 'used') AS used,
        count(*) FILTER (fate IN ('after the exports were taken', 'unit without hours', 'no outcome')) AS set_aside
    FROM stg_incidents
    GROUP BY ALL
),
figures AS (
    SELECT y.year, f.place, f.figure,
        CASE f.figure
            WHEN 'deaths' THEN y.deaths
            WHEN 'days_away_cases' THEN y.days_away_cases
            WHEN 'restricted_cases' THEN y.restricted_cases
            WHEN 'other_cases' THEN y.other_cases
        END AS posted,
        CASE f.figure
            WHEN 'deaths' THEN 'death'
            WHEN 'days_away_cases' THEN 'days_away'
            WHEN 'restricted_cases' THEN 'restricted_or_transfer'
            WHEN 'other_cases' THEN 'other_recordable'
        END AS outcome
    FROM years AS y
    CROSS JOIN (VALUES (1, 'deaths'), (2, 'days_away_cases'), (3, 'restricted_cases'), (4, 'other_cases')) AS f(place, figure)
),
worked AS (
    SELECT CAST(date_part('year', q.quarter_start) AS BIGINT) AS year, sum(p.hours_e8) / 100000000.0 AS hours
    FROM int_person_time AS p
    JOIN quarters AS q ON q.quarter = p.quarter
    WHERE date_part('year', q.quarter_start) = date_part('year', q.quarter_end)
    GROUP BY 1
)
SELECT f.year, f.figure, CAST(f.posted AS DOUBLE) AS posted, CAST(coalesce(c.used, 0) AS DOUBLE) AS in_review,
    CAST(coalesce(c.set_aside, 0) AS BIGINT) AS set_aside,
    s.review_start <= y.first_day AND s.review_end >= y.last_day AS is_whole_year, f.place
FROM figures AS f
JOIN years AS y ON y.year = f.year
CROSS JOIN settings AS s
LEFT JOIN cases AS c ON c.year = f.year AND c.outcome = f.outcome
UNION ALL
SELECT y.year, 'hours', CAST(y.hours AS DOUBLE), CAST(coalesce(w.hours, 0) AS DOUBLE), 0,
    s.review_start <= y.first_day AND s.review_end >= y.last_day AND NOT EXISTS (
        SELECT 1 FROM quarters AS q WHERE q.quarter_start < y.first_day AND q.quarter_end >= y.first_day
            OR q.quarter_start <= y.last_day AND q.quarter_end > y.last_day
    ), 5
FROM years AS y
CROSS JOIN settings AS s
LEFT JOIN worked AS w ON w.year = y.year
ORDER BY 1, 7;
