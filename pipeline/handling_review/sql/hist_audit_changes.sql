-- grain: one kind of change x quarter of the technique audits between the last review and this one
WITH now_rows AS (
    SELECT observed_on, unit, transfer_type, item, met FROM raw_observations
    WHERE coalesce(CAST(date_part('year', observed_on) AS VARCHAR), 'none') IN (SELECT part FROM differing_observations)
),
then_rows AS (
    SELECT observed_on, unit, transfer_type, item, met FROM then_observations
),
changes AS (
    SELECT 'late_audits' AS kind, observed_on FROM (SELECT * FROM now_rows EXCEPT ALL SELECT * FROM then_rows)
    UNION ALL
    SELECT 'withdrawn_audits', observed_on FROM (SELECT * FROM then_rows EXCEPT ALL SELECT * FROM now_rows)
)
SELECT c.kind, q.quarter, count(*) AS rows
FROM changes AS c
JOIN quarters AS q ON c.observed_on BETWEEN q.quarter_start AND q.quarter_end
GROUP BY c.kind, q.quarter
ORDER BY c.kind, q.quarter;
