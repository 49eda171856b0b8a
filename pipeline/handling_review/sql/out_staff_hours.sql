-- grain: one quarter x job group x time since the first hours
-- what the parts of int_staff_parts sum to
CREATE TABLE out_staff_hours AS
WITH cells AS (
    SELECT DISTINCT cell_no, quarter, job FROM work.slot_parts
),
kinds AS (
    SELECT DISTINCT kind_no, tenure FROM work.stretches
)
SELECT c.quarter, c.job, k.tenure, CAST(sum(t.hours_e8) / 100000000.0 AS DOUBLE) AS hours
FROM work.person_time AS t
JOIN cells AS c ON c.cell_no = t.cell_no
JOIN kinds AS k ON k.kind_no = t.kind_no
WHERE k.tenure IS NOT NULL
GROUP BY c.quarter, c.job, k.tenure
ORDER BY c.quarter, c.job, k.tenure;
