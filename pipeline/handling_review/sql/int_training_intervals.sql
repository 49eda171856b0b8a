-- grain: one stretch of days of one trained person in one phase and band; the stretches of a person cover all days once
-- before: until the day before the first qualifying completion. washout: that day and the washout days from it on.
-- after: from then on, lapsed where no completion is current. band: days since the first completion. is_remedial: that
-- completion came within 30 days after a recordable injury of the same person
CREATE TABLE int_training_intervals AS
WITH first_completion AS (
    SELECT c.employee_id, min(c.completed_on) AS completed_on,
        min(c.completed_on) + greatest(max(s.washout_days), 1) AS trained_from
    FROM int_completions AS c
    CROSS JOIN settings AS s
    GROUP BY c.employee_id
),
covered AS (
    SELECT employee_id, completed_on, current_until,
        max(current_until) OVER (
            PARTITION BY employee_id ORDER BY completed_on, current_until
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ) AS covered_before
    FROM int_completions
),
lapses AS (
    SELECT employee_id, covered_before AS lapsed_from, completed_on AS lapsed_to
    FROM covered
    WHERE covered_before < completed_on
    UNION ALL
    SELECT employee_id, max(current_until), DATE '9999-01-01'
    FROM int_completions
    GROUP BY employee_id
    HAVING max(current_until) < DATE '9999-01-01'
),
clipped AS (
    SELECT l.employee_id, greatest(l.lapsed_from, f.trained_from) AS lapsed_from, l.lapsed_to
    FROM lapses AS l
    JOIN first_completion AS f ON f.employee_id = l.employee_id
    WHERE l.lapsed_to > f.trained_from
),
phases AS (
    SELECT employee_id, DATE '0001-01-01' AS from_day, 'before' AS phase, FALSE AS lapsed FROM first_completion
    UNION ALL SELECT employee_id, completed_on, 'washout', FALSE FROM first_completion
    UNION ALL
    SELECT f.employee_id, f.trained_from, 'after', FALSE
    FROM first_completion AS f
    WHERE NOT EXISTS (
        SELECT 1 FROM clipped AS c WHERE c.employee_id = f.employee_id AND c.lapsed_from = f.trained_from
    )
    UNION ALL SELECT employee_id, lapsed_from, 'after', TRUE FROM clipped
    UNION ALL
    SELECT employee_id, lapsed_to, 'after', FALSE
    FROM clipped
    WHERE lapsed_to < DATE '9999-01-01'  -- a completion that expires on its own day ends one lapse and starts the next
        AND NOT EXISTS (
            SELECT 1 FROM clipped AS c WHERE c.employee_id = clipped.employee_id AND c.lapsed_from = clipped.lapsed_to
        )
),
phase_spans AS (
    SELECT employee_id, phase, lapsed, from_day,
        coalesce(lead(from_day) OVER (PARTITION BY employee_id ORDER BY from_day) - 1, DATE '9999-01-01') AS to_day
    FROM phases
),
band_spans AS (
    SELECT f.employee_id, b.band,
        CASE WHEN b.from_days IS NULL THEN DATE '0001-01-01' ELSE f.completed_on + b.from_days END AS from_day,
        CASE WHEN b.to_days IS NULL THEN DATE '9999-01-01' ELSE f.completed_on + b.to_days END AS to_day
    FROM first_completion AS f
    CROSS JOIN bands AS b
),
remedial AS (
    SELECT DISTINCT f.employee_id
    FROM first_completion AS f
    JOIN stg_incidents AS i ON i.employee_id = f.employee_id AND i.fate = 'used' AND i.is_recordable
        AND f.completed_on BETWEEN i.event_date AND i.event_date + 30
)
SELECT p.employee_id, p.phase, p.lapsed, b.band, r.employee_id IS NOT NULL AS is_remedial,
    greatest(p.from_day, b.from_day) AS from_day, least(p.to_day, b.to_day) AS to_day
FROM phase_spans AS p
JOIN band_spans AS b ON b.employee_id = p.employee_id AND b.from_day <= p.to_day AND b.to_day >= p.from_day
LEFT JOIN remedial AS r ON r.employee_id = p.employee_id
ORDER BY p.employee_id, 6;
