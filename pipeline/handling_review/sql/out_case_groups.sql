-- grain: one quarter x kind of group x group: cases by job, time since the first hours, body part, nature, hour of day
CREATE TABLE out_case_groups AS
WITH described AS (
    SELECT quarter, is_recordable, is_handling, is_dart, outcome, job, tenure, body_part, nature, hour
    FROM int_case_groups
),
long AS (
    UNPIVOT described ON job, tenure, body_part, nature, hour INTO NAME kind VALUE value
)
SELECT quarter, kind, value,
    count(*) FILTER (is_recordable AND is_handling) AS handling,
    count(*) FILTER (is_recordable) AS recordable,
    count(*) FILTER (is_dart) AS dart,
    count(*) FILTER (outcome = 'days_away') AS days_away
FROM long
WHERE is_recordable
GROUP BY quarter, kind, value
ORDER BY quarter, kind, value;
