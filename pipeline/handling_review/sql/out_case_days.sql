-- grain: one quarter x outcome x kind x days lost: recordable cases by days away and restricted, together at most 180
-- is_counting: the days reach the week before the exports were taken, so that the count is still growing
CREATE TABLE out_case_days AS
SELECT c.quarter, c.outcome, coalesce(c.is_handling, FALSE) AS is_handling,
    least(coalesce(c.days_away, 0) + coalesce(c.days_restricted, 0), 180) AS days,
    c.is_dart AND c.days_away IS NULL AND c.days_restricted IS NULL AS is_blank,
    c.is_dart AND coalesce(c.days_away, 0) + coalesce(c.days_restricted, 0) > 0
        AND coalesce(c.days_away, 0) + coalesce(c.days_restricted, 0) < 180
        AND coalesce(c.days_away, 0) + coalesce(c.days_restricted, 0) + 7 >= s.as_of - c.event_date AS is_counting,
    count(*) AS cases
FROM int_cases AS c
CROSS JOIN settings AS s
WHERE c.is_recordable
GROUP BY ALL
ORDER BY ALL;
