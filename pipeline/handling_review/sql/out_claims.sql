-- grain: one quarter x from handling or not x old enough or not x cost: recordable cases with a cost of their claim
-- old enough: the cost was taken at least claim_age_days after the event, so that claims of one age are set side by side
CREATE TABLE out_claims AS
SELECT c.quarter, coalesce(c.is_handling, FALSE) AS is_handling,
    coalesce(c.cost_as_of, s.as_of) - c.event_date >= s.claim_age_days AS is_old_enough,
    CAST(c.claim_cost AS DOUBLE) AS cost, count(*) AS cases
FROM int_cases AS c
CROSS JOIN settings AS s
WHERE c.is_recordable AND c.claim_cost IS NOT NULL
GROUP BY ALL
ORDER BY ALL;
