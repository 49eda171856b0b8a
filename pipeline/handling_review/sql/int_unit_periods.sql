-- grain: one stretch of days of one unit and period of the hours file that lies in one quarter, on one side of the
-- unit's go-live day, and inside the review
CREATE TABLE int_unit_periods AS
WITH periods AS (
    SELECT unit, first_day, last_day FROM int_period_totals
),
sides AS (
    SELECT p.unit, p.first_day, p.last_day, q.quarter, u.program_start,
        greatest(p.first_day, q.quarter_start, s.review_start) AS in_first,
        least(p.last_day, q.quarter_end, s.review_end) AS in_last
    FROM periods AS p
    CROSS JOIN settings AS s
    JOIN quarters AS q ON q.quarter_start <= p.last_day AND q.quarter_end >= p.first_day
    LEFT JOIN stg_units AS u ON u.unit = p.unit
)
SELECT unit, first_day, last_day, quarter, 'before' AS go_live_phase, in_first AS from_day,
    least(in_last, program_start - 1) AS to_day
FROM sides
WHERE program_start > in_first AND in_last >= in_first
UNION ALL
SELECT unit, first_day, last_day, quarter, 'after', greatest(in_first, program_start), in_last
FROM sides
WHERE program_start <= in_last AND in_last >= in_first
UNION ALL
SELECT unit, first_day, last_day, quarter, 'none', in_first, in_last
FROM sides
WHERE program_start IS NULL AND in_last >= in_first
ORDER BY unit, first_day, last_day, from_day;
