-- grain: one quarter x kind of group x group: cases by job, time since the first hours, body part, nature, hour of day
CREATE TABLE out_case_groups AS
WITH described AS (
    SELECT c.quarter, c.is_recordable, c.is_handling, c.is_dart, c.outcome,
        coalesce(j.job, lower(c.job_title), 'not given') AS job,
        coalesce(t.tenure, (SELECT tenure FROM tenure_bands WHERE from_days IS NULL)) AS tenure,
        coalesce(lower(trim(split_part(c.body_part, ';', 1))), 'not given') AS body_part,
        coalesce(c.nature, 'not given') AS nature,
        CASE WHEN c.event_hour IS NULL THEN 'not given' ELSE lpad(CAST(c.event_hour // 4 * 4 AS VARCHAR), 2, '0') END AS hour
    FROM int_cases AS c
    LEFT JOIN jobs AS j ON j.title = lower(c.job_title)
    LEFT JOIN int_first_days AS f ON f.employee_id = c.employee_id AND f.is_seen_to_start
    LEFT JOIN tenure_bands AS t ON c.event_date BETWEEN f.first_day + t.from_days AND f.first_day + t.to_days
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
