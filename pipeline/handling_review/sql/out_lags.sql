-- grain: one quarter x days from the event to its report (none: no day of report), recordable and first-aid cases
CREATE TABLE out_lags AS
SELECT quarter, CASE WHEN reported_date >= event_date THEN reported_date - event_date END AS lag_days,
    count(*) FILTER (is_recordable) AS recordable, count(*) FILTER (is_recordable AND is_handling) AS handling,
    count(*) FILTER (is_dart) AS dart, count(*) FILTER (outcome = 'days_away') AS days_away,
    count(*) FILTER (outcome = 'first_aid') AS first_aid
FROM int_cases
WHERE outcome <> 'near_miss'
GROUP BY ALL
ORDER BY ALL;
