-- grain: one unit x calendar month of the review with hours or cases; hours are shared over the days of their period
CREATE TABLE out_months AS
WITH months AS (
    SELECT q.quarter, CAST(q.quarter_start + to_months(CAST(n AS INTEGER)) AS DATE) AS month_start,
        CAST(q.quarter_start + to_months(CAST(n AS INTEGER) + 1) AS DATE) - 1 AS month_end
    FROM quarters AS q
    CROSS JOIN range(3) AS r(n)
),
pieces AS (
    SELECT p.unit, m.quarter, m.month_start, p.hours_e8, p.last_day - p.first_day + 1 AS days,
        greatest(p.first_day, m.month_start, s.review_start) - p.first_day AS days_before,
        least(p.last_day, m.month_end, s.review_end) - p.first_day + 1 AS days_through
    FROM int_period_totals AS p
    CROSS JOIN settings AS s
    JOIN months AS m ON m.month_start <= p.last_day AND m.month_end >= p.first_day
),
hours AS (
    SELECT unit, quarter, month_start,
        CAST(sum((hours_e8 * days_through) // days - (hours_e8 * days_before) // days) AS BIGINT) AS hours_e8
    FROM pieces
    WHERE days_through > days_before
    GROUP BY unit, quarter, month_start
),
cases AS (
    SELECT c.unit, m.quarter, m.month_start,
        count(*) FILTER (c.is_recordable AND c.is_handling) AS handling,
        count(*) FILTER (c.is_recordable) AS recordable,
        count(*) FILTER (c.is_dart) AS dart,
        count(*) FILTER (c.outcome = 'days_away') AS days_away
    FROM int_cases AS c
    JOIN months AS m ON c.event_date BETWEEN m.month_start AND m.month_end
    GROUP BY c.unit, m.quarter, m.month_start
)
SELECT coalesce(h.unit, c.unit) AS unit, coalesce(h.quarter, c.quarter) AS quarter,
    strftime(coalesce(h.month_start, c.month_start), '%Y-%m') AS month,
    CAST(coalesce(h.hours_e8, 0) / 100000000.0 AS DOUBLE) AS hours,
    coalesce(c.handling, 0) AS handling, coalesce(c.recordable, 0) AS recordable,
    coalesce(c.dart, 0) AS dart, coalesce(c.days_away, 0) AS days_away
FROM hours AS h
FULL JOIN cases AS c ON c.unit = h.unit AND c.month_start = h.month_start
ORDER BY 1, 3;
