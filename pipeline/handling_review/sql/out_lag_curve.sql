-- grain: one length of the reporting lag; recordable cases reported after just so many days, and all that were reported
-- by then and had the time to be so late when the exports were taken
CREATE TABLE out_lag_curve AS
WITH cases AS (
    SELECT reported_date - event_date AS lag_days, s.as_of - event_date AS days_to_export
    FROM int_cases
    CROSS JOIN settings AS s
    WHERE is_recordable AND reported_date BETWEEN event_date AND s.as_of
),
lengths AS (
    SELECT DISTINCT lag_days FROM cases
)
SELECT l.lag_days, count(*) FILTER (c.lag_days = l.lag_days) AS cases, count(*) AS reported_by_then
FROM lengths AS l
JOIN cases AS c ON c.lag_days <= l.lag_days AND c.days_to_export >= l.lag_days
GROUP BY l.lag_days
ORDER BY l.lag_days;
