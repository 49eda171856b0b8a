-- grain: one quarter x job group x time since the first hours
CREATE TABLE out_staff_hours AS
SELECT quarter, job, tenure, CAST(sum(part_e8) / 100000000.0 AS DOUBLE) AS hours
FROM int_staff_parts
GROUP BY quarter, job, tenure
ORDER BY quarter, job, tenure;
