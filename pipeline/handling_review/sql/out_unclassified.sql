-- grain: one quarter x unit x phase with recordable cases whose relation to handling is undecided
CREATE TABLE out_unclassified AS
SELECT quarter, unit, phase, count(*) AS events
FROM int_cases
WHERE is_recordable AND is_handling IS NULL
GROUP BY quarter, unit, phase
ORDER BY quarter, unit, phase;
