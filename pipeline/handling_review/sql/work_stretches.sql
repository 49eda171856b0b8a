-- grain: one person (0: hours without an id) x quarter x stretch of days of one phase, band and time since the first hours
-- the stretches of a person cover every quarter once; tenure is null where it is not told: before the first hours
CREATE TABLE work.stretches AS
WITH everybody AS (
    SELECT p.person, p.employee_id FROM work.people AS p
    UNION ALL
    SELECT 0, NULL
),
phases AS (
    SELECT e.person, coalesce(t.phase, CASE WHEN e.person = 0 OR s.absent_is_unknown THEN 'unknown' ELSE 'never' END) AS phase,
        coalesce(t.band, 'none') AS band, coalesce(t.lapsed, FALSE) AS lapsed, coalesce(t.is_remedial, FALSE) AS is_remedial,
        coalesce(t.from_day, DATE '0001-01-01') AS from_day, coalesce(t.to_day, DATE '9999-01-01') AS to_day
    FROM everybody AS e
    CROSS JOIN settings AS s
    LEFT JOIN int_training_intervals AS t ON t.employee_id = e.employee_id
),
starts AS (
    SELECT e.person, f.first_day
    FROM everybody AS e
    LEFT JOIN int_first_days AS f ON f.employee_id = e.employee_id AND f.is_seen_to_start
),
tenures AS (
    SELECT s.person, t.tenure, coalesce(CAST(s.first_day + t.from_days AS DATE), DATE '0001-01-01') AS from_day,
        coalesce(CAST(s.first_day + t.to_days AS DATE), DATE '9999-01-01') AS to_day
    FROM starts AS s
    JOIN tenure_bands AS t ON (s.first_day IS NULL) = (t.from_days IS NULL)
    UNION ALL
    SELECT person, NULL, DATE '0001-01-01', first_day - 1 FROM starts WHERE first_day IS NOT NULL
    UNION ALL
    SELECT person, NULL, first_day + (SELECT max(to_days) FROM tenure_bands) + 1, DATE '9999-01-01'
    FROM starts
    WHERE first_day IS NOT NULL
),
days AS MATERIALIZED (
    SELECT p.person, p.phase, p.band, p.lapsed, p.is_remedial, t.tenure,
        greatest(p.from_day, t.from_day) AS from_day, least(p.to_day, t.to_day) AS to_day
    FROM phases AS p
    JOIN tenures AS t ON t.person = p.person AND t.from_day <= p.to_day AND t.to_day >= p.from_day
),
kinds AS (
    SELECT *, CAST(row_number() OVER (ORDER BY phase, band, lapsed, is_remedial, tenure) AS INTEGER) AS kind_no
    FROM (SELECT DISTINCT phase, band, lapsed, is_remedial, tenure FROM days)
),
numbered AS (
    SELECT quarter, quarter_start, quarter_end, CAST(row_number() OVER (ORDER BY quarter_start) AS INTEGER) AS quarter_no
    FROM quarters
)
SELECT d.person, q.quarter, d.phase, d.band, d.lapsed, d.is_remedial, d.tenure,
    greatest(d.from_day, q.quarter_start) AS from_day, least(d.to_day, q.quarter_end) AS to_day, k.kind_no, q.quarter_no
FROM days AS d
JOIN kinds AS k
    ON k.phase = d.phase AND k.band = d.band AND k.lapsed = d.lapsed AND k.is_remedial = d.is_remedial
    AND k.tenure IS NOT DISTINCT FROM d.tenure
JOIN numbered AS q ON q.quarter_start <= d.to_day AND q.quarter_end >= d.from_day;
