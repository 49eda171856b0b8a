-- grain: two kinds of rows without any person. 'seen': so many people had just so many handling cases. 'expected': so
-- many people had that many cases to be expected from their hours on each unit and the rate of the unit
CREATE TABLE out_repeats AS
WITH hours AS (
    SELECT employee_id, unit, sum(hours_e8) AS hours_e8
    FROM int_person_time
    WHERE employee_id IS NOT NULL
    GROUP BY employee_id, unit
),
cases AS (
    SELECT employee_id, unit, count(*) AS cases
    FROM int_cases
    WHERE is_recordable AND is_handling AND employee_id IS NOT NULL
        AND employee_id IN (SELECT employee_id FROM hours)
    GROUP BY employee_id, unit
),
rates AS (
    SELECT h.unit, CAST(sum(h.hours_e8) AS DOUBLE) AS hours_e8,
        (SELECT sum(c.cases) FROM cases AS c WHERE c.unit = h.unit) AS cases
    FROM hours AS h
    GROUP BY h.unit
),
expected AS (
    SELECT h.employee_id, sum(h.hours_e8 / r.hours_e8 * coalesce(r.cases, 0) ORDER BY h.unit) AS expected
    FROM hours AS h
    JOIN rates AS r ON r.unit = h.unit AND r.hours_e8 > 0
    WHERE h.hours_e8 > 0
    GROUP BY h.employee_id
),
seen AS (
    SELECT employee_id, sum(cases) AS cases FROM cases GROUP BY employee_id
)
SELECT 'seen' AS kind, CAST(cases AS DOUBLE) AS cases, count(*) AS people FROM seen GROUP BY cases
UNION ALL
SELECT 'expected', round(expected, 4), count(*) FROM expected GROUP BY round(expected, 4)
ORDER BY 1, 2;
