-- grain: one kind of change x unit (null: the facility) x quarter (null: in all) x calendar year, of the hours between
-- the last review and this one; hours: what the change adds to that place and time, rows: how many rows it is made of
-- then_hours and differing_parts hold only the parts of time whose rows differ; then_* are the maps of the last review
WITH now_aside AS (
    SELECT file_no, record FROM int_repeated_rows WHERE file = 'hours'
    UNION SELECT file_no, record FROM int_double_loads
    UNION SELECT file_no, record FROM int_negative_totals
),
slots AS (
    SELECT *,
        CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_start ELSE work_date END AS first_day,
        CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_end ELSE work_date END AS last_day
    FROM raw_hours_slots
),
differing_slots AS MATERIALIZED (
    SELECT *
    FROM slots
    WHERE coalesce(date_part('year', coalesce(period_start, work_date)) || '-Q'
        || date_part('quarter', coalesce(period_start, work_date)), 'none') IN (SELECT part FROM differing_parts)
),
mapped_slots AS MATERIALIZED (
    SELECT s.*, m.unit <> t.unit AS is_unit_map
    FROM slots AS s
    JOIN int_unit_map AS m ON m.given = s.unit
    JOIN then_unit_map AS t ON t.given = s.unit
    LEFT JOIN pay_code_map AS p ON p.pay_code = lower(s.pay_code)
    LEFT JOIN then_pay_codes AS c ON c.pay_code = lower(s.pay_code)
    WHERE m.unit <> t.unit OR coalesce(p.meaning, '') <> coalesce(c.meaning, '')
),
now_rows AS (
    SELECT p.employee_id, s.unit, s.first_day, s.last_day, h.hours, lower(s.role) AS role, lower(s.pay_code) AS pay_code,
        coalesce(s.source, 'payroll') AS source, a.record IS NOT NULL AS is_aside
    FROM raw_hours_rows AS h
    JOIN differing_slots AS s ON s.slot = h.slot
    LEFT JOIN raw_hours_people AS p ON p.person = h.person
    LEFT JOIN now_aside AS a ON a.file_no = s.file_no AND a.record = h.record
),
then_rows AS (
    SELECT h.employee_id, h.unit,
        CASE WHEN h.period_start IS NOT NULL AND h.period_end IS NOT NULL THEN h.period_start ELSE h.work_date END AS first_day,
        CASE WHEN h.period_start IS NOT NULL AND h.period_end IS NOT NULL THEN h.period_end ELSE h.work_date END AS last_day,
        h.hours, lower(h.role) AS role, lower(h.pay_code) AS pay_code, coalesce(h.source, 'payroll') AS source,
        a.record IS NOT NULL AS is_aside
    FROM then_hours AS h
    LEFT JOIN then_aside AS a ON a.file_no = h.file_no AND a.record = h.record
),
only_now AS (
    SELECT *, concat_ws('|', coalesce(employee_id, 'unit ' || unit), first_day, last_day, pay_code, source) AS same
    FROM (SELECT * FROM now_rows EXCEPT ALL SELECT * FROM then_rows)
),
only_then AS (
    SELECT *, concat_ws('|', coalesce(employee_id, 'unit ' || unit), first_day, last_day, pay_code, source) AS same
    FROM (SELECT * FROM then_rows EXCEPT ALL SELECT * FROM now_rows)
),
mapped AS (
    SELECT s.is_unit_map, p.employee_id, s.unit, s.first_day, s.last_day, h.hours, lower(s.role) AS role,
        lower(s.pay_code) AS pay_code, coalesce(s.source, 'payroll') AS source, a.record IS NOT NULL AS is_aside
    FROM raw_hours_rows AS h
    JOIN mapped_slots AS s ON s.slot = h.slot
    LEFT JOIN raw_hours_people AS p ON p.person = h.person
    LEFT JOIN now_aside AS a ON a.file_no = s.file_no AND a.record = h.record
),
still_mapped AS (
    SELECT *, row_number() OVER () AS number
    FROM (
        SELECT * FROM mapped
        EXCEPT ALL
        SELECT m.unit <> t.unit, o.* EXCLUDE (same)
        FROM only_now AS o JOIN int_unit_map AS m ON m.given = o.unit JOIN then_unit_map AS t ON t.given = o.unit
    )
),
sides AS (
    SELECT CASE WHEN same IN (SELECT same FROM only_then) THEN 'corrected_hours' ELSE 'late_hours' END AS kind,
        'now' AS side, unit, pay_code, first_day, last_day, hours, is_aside,
        CASE WHEN same IN (SELECT same FROM only_then) THEN same ELSE 'n' || row_number() OVER () END AS id
    FROM only_now
    UNION ALL
    SELECT CASE WHEN same IN (SELECT same FROM only_now) THEN 'corrected_hours' ELSE 'withdrawn_hours' END,
        'then', unit, pay_code, first_day, last_day, hours, is_aside,
        CASE WHEN same IN (SELECT same FROM only_now) THEN same ELSE 't' || row_number() OVER () END
    FROM only_then
    UNION ALL
    SELECT CASE WHEN is_unit_map THEN 'unit_map' ELSE 'pay_codes' END, side, unit, pay_code, first_day, last_day, hours,
        is_aside, 'm' || number
    FROM still_mapped
    CROSS JOIN (VALUES ('now'), ('then')) AS s(side)
),
counted AS (
    SELECT s.kind, s.id, CASE s.side WHEN 'now' THEN n.unit ELSE t.unit END AS unit, s.first_day, s.last_day,
        CASE s.side WHEN 'now' THEN 1 ELSE -1 END AS sign,
        CAST(CASE
            WHEN f.fte_hours_per_year IS NULL THEN s.hours
            ELSE s.hours * f.fte_hours_per_year * (s.last_day - s.first_day + 1)
                / (make_date(date_part('year', s.first_day)::BIGINT + 1, 1, 1) - make_date(date_part('year', s.first_day)::BIGINT, 1, 1))
        END * 100000000 AS BIGINT) AS hours_e8
    FROM sides AS s
    CROSS JOIN settings AS f
    LEFT JOIN int_unit_map AS n ON n.given = s.unit
    LEFT JOIN then_unit_map AS t ON t.given = s.unit
    LEFT JOIN pay_code_map AS p ON p.pay_code = s.pay_code
    LEFT JOIN then_pay_codes AS c ON c.pay_code = s.pay_code
    WHERE NOT s.is_aside AND s.first_day <= s.last_day
        AND (s.pay_code IS NULL OR coalesce(CASE s.side WHEN 'now' THEN p.meaning ELSE c.meaning END, '') = 'worked')
),
stretches AS (
    SELECT q.quarter, y.year, greatest(q.quarter_start, make_date(y.year, 1, 1)) AS from_day,
        least(q.quarter_end, make_date(y.year, 12, 31)) AS to_day
    FROM quarters AS q
    JOIN (SELECT unnest(generate_series(1900, 2200))::BIGINT AS year) AS y
        ON y.year BETWEEN date_part('year', q.quarter_start) AND date_part('year', q.quarter_end)
),
pieces AS (
    SELECT c.kind, c.id, c.unit, s.quarter, s.year,
        c.sign * ((c.hours_e8 * (least(s.to_day, c.last_day) - c.first_day + 1)) // (c.last_day - c.first_day + 1)
            - (c.hours_e8 * (greatest(s.from_day, c.first_day) - c.first_day)) // (c.last_day - c.first_day + 1)) AS hours_e8
    FROM counted AS c
    JOIN stretches AS s ON s.from_day <= c.last_day AND s.to_day >= c.first_day
)
SELECT kind, unit, quarter, year, count(DISTINCT id) AS rows, CAST(sum(hours_e8) AS DOUBLE) / 100000000.0 AS hours
FROM pieces
GROUP BY GROUPING SETS ((kind, unit, quarter, year), (kind, quarter, year), (kind))
ORDER BY kind, unit NULLS FIRST, quarter NULLS FIRST, year NULLS FIRST;
