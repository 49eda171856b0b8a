-- grain: one unit x quarter x side of go-live x measure of the exposure file; quantities are shared over the days of their
-- period as hours are
CREATE TABLE out_exposure AS
WITH pieces AS (
    SELECT m.unit, e.measure, q.quarter, u.program_start,
        CAST(e.quantity * 10000 AS BIGINT) AS quantity_e4, e.period_start AS first_day,
        e.period_end - e.period_start + 1 AS days,
        greatest(e.period_start, q.quarter_start, s.review_start) AS from_day,
        least(e.period_end, q.quarter_end, s.review_end) AS to_day
    FROM raw_exposure AS e
    CROSS JOIN settings AS s
    JOIN int_unit_map AS m ON m.given = e.unit
    JOIN quarters AS q ON q.quarter_start <= e.period_end AND q.quarter_end >= e.period_start
    LEFT JOIN stg_units AS u ON u.unit = m.unit
    WHERE e.period_end >= e.period_start
),
sides AS (
    SELECT *, CASE WHEN program_start IS NULL THEN 'none' ELSE 'before' END AS go_live_phase, from_day AS first_part,
        least(to_day, coalesce(program_start - 1, to_day)) AS last_part
    FROM pieces
    UNION ALL
    SELECT *, 'after', greatest(from_day, program_start), to_day FROM pieces WHERE program_start IS NOT NULL
)
SELECT quarter, unit, go_live_phase, measure,
    CAST(sum((quantity_e4 * (last_part - first_day + 1)) // days - (quantity_e4 * (first_part - first_day)) // days)
        / 10000.0 AS DOUBLE) AS quantity
FROM sides
WHERE last_part >= first_part
GROUP BY quarter, unit, go_live_phase, measure
ORDER BY quarter, unit, go_live_phase, measure;
