-- grain: one quarter of the review
CREATE TABLE out_quarters AS
WITH units AS (
    SELECT quarter, sum(hours_days_missing) AS days_missing, bool_and(is_complete) AS all_complete,
        min(unit) FILTER (hours_days_missing > 0) AS first_unit,
        count(*) FILTER (hours_days_missing > 0) AS units_missing
    FROM out_unit_quarters
    GROUP BY quarter
)
SELECT q.quarter, q.quarter_start, q.quarter_end,
    CAST(coalesce(u.days_missing, 0) AS BIGINT) AS hours_days_missing,
    coalesce(u.all_complete, FALSE) AS is_complete,
    s.as_of - q.quarter_end >= s.mature_days AS is_mature,
    CASE
        WHEN u.quarter IS NULL THEN 'no hours in the hours file'
        WHEN u.units_missing = 1 THEN 'hours missing for ' || u.days_missing || ' days in ' || u.first_unit
        WHEN u.units_missing > 1 THEN 'hours missing in ' || u.units_missing || ' units'
        WHEN q.quarter_start < s.review_start THEN 'the review starts within this quarter'
        WHEN q.quarter_end > s.review_end THEN 'the review ends within this quarter'
        WHEN q.quarter_end > s.hours_through THEN 'hours are complete only through ' || CAST(s.hours_through AS VARCHAR)
        WHEN q.quarter_end > s.log_through THEN 'the log is complete only through ' || CAST(s.log_through AS VARCHAR)
        ELSE ''
    END AS reason
FROM quarters AS q
CROSS JOIN settings AS s
LEFT JOIN units AS u ON u.quarter = q.quarter
ORDER BY q.quarter_start;
