-- grain: one row of the exposure file x one stretch of its days that lies in one quarter and on one side of go-live
-- quantities are shared over the days of their period as hours are, counted in ten-thousandths
CREATE VIEW int_exposure_parts AS
WITH pieces AS (
    SELECT e.file_no, e.record, e.line, m.unit, e.measure, q.quarter, u.program_start,
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
SELECT file_no, record, line, quarter, unit, go_live_phase, measure, days, last_part - first_part + 1 AS days_in_part,
    quantity_e4 AS row_e4,
    (quantity_e4 * (last_part - first_day + 1)) // days - (quantity_e4 * (first_part - first_day)) // days AS part_e4
FROM sides
WHERE last_part >= first_part;
