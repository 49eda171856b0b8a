-- grain: one unit x quarter with hours or expected hours
CREATE TABLE out_unit_quarters AS
WITH hours AS (
    SELECT unit, quarter, sum(hours_e8) AS hours_e8 FROM int_person_time GROUP BY unit, quarter
),
missing AS (
    SELECT g.unit, q.quarter,
        sum(least(g.to_day, q.quarter_end) - greatest(g.from_day, q.quarter_start) + 1) AS days
    FROM int_hours_gaps AS g
    JOIN quarters AS q ON q.quarter_start <= g.to_day AND q.quarter_end >= g.from_day
    GROUP BY g.unit, q.quarter
)
SELECT coalesce(h.unit, m.unit) AS unit, coalesce(h.quarter, m.quarter) AS quarter,
    CAST(coalesce(h.hours_e8, 0) / 100000000.0 AS DOUBLE) AS hours,
    CAST(coalesce(m.days, 0) AS BIGINT) AS hours_days_missing,
    m.days IS NULL AND q.quarter_end <= s.hours_through AND q.quarter_end <= s.log_through
        AND q.quarter_end <= s.review_end AND q.quarter_start >= s.review_start AS is_complete,
    CASE
        WHEN m.days IS NOT NULL THEN 'hours missing for ' || m.days || ' days'
        WHEN q.quarter_start < s.review_start THEN 'the review starts within this quarter'
        WHEN q.quarter_end > s.review_end THEN 'the review ends within this quarter'
        WHEN q.quarter_end > s.hours_through THEN 'hours are complete only through ' || CAST(s.hours_through AS VARCHAR)
        WHEN q.quarter_end > s.log_through THEN 'the log is complete only through ' || CAST(s.log_through AS VARCHAR)
        ELSE ''
    END AS reason
FROM hours AS h
FULL JOIN missing AS m ON m.unit = h.unit AND m.quarter = h.quarter
JOIN quarters AS q ON q.quarter = coalesce(h.quarter, m.quarter)
CROSS JOIN settings AS s
ORDER BY 1, q.quarter_start;
