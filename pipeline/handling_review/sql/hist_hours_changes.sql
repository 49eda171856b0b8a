-- grain: one kind of change x unit (null: the facility) x quarter (null: in all) x calendar year, of the hours between
-- the last review and this one; hours: what the change adds to that place and time, rows: how many rows it is made of
-- then_hours and differing_parts hold only the parts of time whose rows differ; then_* are the maps of the last review
-- texts are compared once for each content of slots; rows whose days the last review has not seen are only counted
WITH now_aside AS (
    SELECT file_no, record FROM int_repeated_rows WHERE file = 'hours'
    UNION SELECT file_no, record FROM int_double_loads
    UNION SELECT file_no, record FROM int_negative_totals
),
now_slots AS (
    SELECT slot, file_no, unit, lower(role) AS role, lower(pay_code) AS pay_code, coalesce(source, 'payroll') AS source,
        CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_start ELSE work_date END AS first_day,
        CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_end ELSE work_date END AS last_day,
        coalesce(date_part('year', coalesce(period_start, work_date)) || '-Q'
            || date_part('quarter', coalesce(period_start, work_date)), 'none') IN (SELECT part FROM differing_parts) AS differs
    FROM raw_hours_slots
),
then_given AS MATERIALIZED (
    SELECT row_number() OVER () AS given_no, *
    FROM (SELECT DISTINCT unit, period_start, period_end, work_date, role, pay_code, source FROM then_hours)
),
then_slots AS (
    SELECT given_no, unit, lower(role) AS role, lower(pay_code) AS pay_code, coalesce(source, 'payroll') AS source,
        CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_start ELSE work_date END AS first_day,
        CASE WHEN period_start IS NOT NULL AND period_end IS NOT NULL THEN period_end ELSE work_date END AS last_day
    FROM then_given
),
contents AS MATERIALIZED (
    SELECT *, dense_rank() OVER (ORDER BY first_day, last_day, pay_code, source) AS alike_no
    FROM (
        SELECT row_number() OVER () AS content_no, *
        FROM (
            SELECT unit, first_day, last_day, role, pay_code, source FROM now_slots
            UNION
            SELECT unit, first_day, last_day, role, pay_code, source FROM then_slots
        )
    )
),
content_of_now AS MATERIALIZED (
    SELECT s.slot, s.file_no, s.differs, c.content_no, c.alike_no
    FROM now_slots AS s
    JOIN contents AS c
        ON c.unit = s.unit AND c.first_day IS NOT DISTINCT FROM s.first_day AND c.last_day IS NOT DISTINCT FROM s.last_day
        AND c.role IS NOT DISTINCT FROM s.role AND c.pay_code IS NOT DISTINCT FROM s.pay_code AND c.source = s.source
),
content_of_then AS MATERIALIZED (
    SELECT s.given_no, c.content_no, c.alike_no
    FROM then_slots AS s
    JOIN contents AS c
        ON c.unit = s.unit AND c.first_day IS NOT DISTINCT FROM s.first_day AND c.last_day IS NOT DISTINCT FROM s.last_day
        AND c.role IS NOT DISTINCT FROM s.role AND c.pay_code IS NOT DISTINCT FROM s.pay_code AND c.source = s.source
),
differing_slots AS MATERIALIZED (
    SELECT slot, file_no, content_no, alike_no IN (SELECT alike_no FROM content_of_then) AS is_near
    FROM content_of_now
    WHERE differs
),
late AS (
    SELECT s.content_no, h.hours, a.record IS NOT NULL AS is_aside, count(*) AS n
    FROM raw_hours_rows AS h
    JOIN (SELECT * FROM differing_slots WHERE NOT is_near) AS s ON s.slot = h.slot
    LEFT JOIN now_aside AS a ON a.file_no = s.file_no AND a.record = h.record
    GROUP BY ALL
),
then_people AS (
    SELECT t.employee_id, coalesce(p.person, -row_number() OVER ()) AS person
    FROM (SELECT DISTINCT employee_id FROM then_hours WHERE employee_id IS NOT NULL) AS t
    LEFT JOIN raw_hours_people AS p ON p.employee_id = t.employee_id
),
both_sides AS (
    SELECT h.person, s.content_no, h.hours, a.record IS NOT NULL AS is_aside, 1 AS n
    FROM raw_hours_rows AS h
    JOIN (SELECT * FROM differing_slots WHERE is_near) AS s ON s.slot = h.slot
    LEFT JOIN now_aside AS a ON a.file_no = s.file_no AND a.record = h.record
    UNION ALL
    SELECT coalesce(p.person, 0), c.content_no, h.hours, a.record IS NOT NULL, -1
    FROM then_hours AS h
    JOIN then_given AS s
        ON s.unit = h.unit AND s.period_start IS NOT DISTINCT FROM h.period_start
        AND s.period_end IS NOT DISTINCT FROM h.period_end AND s.work_date IS NOT DISTINCT FROM h.work_date
        AND s.role IS NOT DISTINCT FROM h.role AND s.pay_code IS NOT DISTINCT FROM h.pay_code
        AND s.source IS NOT DISTINCT FROM h.source
    JOIN content_of_then AS c ON c.given_no = s.given_no
    LEFT JOIN then_people AS p ON p.employee_id = h.employee_id
    LEFT JOIN then_aside AS a ON a.file_no = h.file_no AND a.record = h.record
),
unlike AS MATERIALIZED (
    SELECT b.*, c.alike_no, CASE WHEN b.person = 0 THEN c.unit END AS unit_of_nobody
    FROM (SELECT person, content_no, hours, is_aside, sum(n) AS n FROM both_sides GROUP BY ALL HAVING sum(n) <> 0) AS b
    JOIN contents AS c ON c.content_no = b.content_no
),
corrected AS MATERIALIZED (
    SELECT row_number() OVER () AS id, person, unit_of_nobody, alike_no
    FROM unlike
    GROUP BY person, unit_of_nobody, alike_no
    HAVING max(n) > 0 AND min(n) < 0
),
unlike_kinds AS MATERIALIZED (
    SELECT CASE WHEN c.id IS NOT NULL THEN 'corrected_hours' WHEN u.n > 0 THEN 'late_hours' ELSE 'withdrawn_hours' END AS kind,
        CASE WHEN u.n > 0 THEN 'now' ELSE 'then' END AS side, c.id, u.content_no, u.hours, u.is_aside,
        CAST(sum(abs(u.n)) AS BIGINT) AS n
    FROM unlike AS u
    LEFT JOIN corrected AS c
        ON c.person = u.person AND c.alike_no = u.alike_no AND c.unit_of_nobody IS NOT DISTINCT FROM u.unit_of_nobody
    GROUP BY ALL
),
only_now AS (
    SELECT content_no, hours, is_aside, n FROM late
    UNION ALL
    SELECT content_no, hours, is_aside, n FROM unlike_kinds WHERE side = 'now'
),
mapped_contents AS MATERIALIZED (
    SELECT s.content_no, m.unit <> t.unit AS is_unit_map
    FROM contents AS s
    JOIN int_unit_map AS m ON m.given = s.unit
    JOIN then_unit_map AS t ON t.given = s.unit
    LEFT JOIN pay_code_map AS p ON p.pay_code = s.pay_code
    LEFT JOIN then_pay_codes AS c ON c.pay_code = s.pay_code
    WHERE m.unit <> t.unit OR coalesce(p.meaning, '') <> coalesce(c.meaning, '')
),
still_mapped AS (
    SELECT content_no, hours, is_aside, CAST(sum(n) AS BIGINT) AS n
    FROM (
        SELECT s.content_no, h.hours, a.record IS NOT NULL AS is_aside, 1 AS n
        FROM raw_hours_rows AS h
        JOIN content_of_now AS s ON s.slot = h.slot
        LEFT JOIN now_aside AS a ON a.file_no = s.file_no AND a.record = h.record
        WHERE s.content_no IN (SELECT content_no FROM mapped_contents)
        UNION ALL
        SELECT content_no, hours, is_aside, -n FROM only_now WHERE content_no IN (SELECT content_no FROM mapped_contents)
    )
    GROUP BY content_no, hours, is_aside
    HAVING sum(n) > 0
),
groups AS (
    SELECT 'late_hours' AS kind, -row_number() OVER () AS id, n AS rows, 'now' AS side, content_no, hours, is_aside, n FROM late
    UNION ALL
    SELECT kind, coalesce(id, row_number() OVER ()), CASE WHEN id IS NULL THEN n ELSE 1 END, side, content_no, hours, is_aside, n
    FROM unlike_kinds
    UNION ALL
    SELECT CASE WHEN m.is_unit_map THEN 'unit_map' ELSE 'pay_codes' END, g.id, g.n, s.side, g.content_no, g.hours, g.is_aside, g.n
    FROM (SELECT *, row_number() OVER () AS id FROM still_mapped) AS g
    JOIN mapped_contents AS m ON m.content_no = g.content_no
    CROSS JOIN (VALUES ('now'), ('then')) AS s(side)
),
counted AS (
    SELECT g.kind, g.id, g.rows, CASE g.side WHEN 'now' THEN n.unit ELSE t.unit END AS unit, s.first_day, s.last_day,
        CASE g.side WHEN 'now' THEN g.n ELSE -g.n END AS times,
        CAST(CASE
            WHEN f.fte_hours_per_year IS NULL THEN g.hours
            ELSE g.hours * f.fte_hours_per_year * (s.last_day - s.first_day + 1)
                / (make_date(date_part('year', s.first_day)::BIGINT + 1, 1, 1) - make_date(date_part('year', s.first_day)::BIGINT, 1, 1))
        END * 100000000 AS BIGINT) AS hours_e8
    FROM groups AS g
    JOIN contents AS s ON s.content_no = g.content_no
    CROSS JOIN settings AS f
    LEFT JOIN int_unit_map AS n ON n.given = s.unit
    LEFT JOIN then_unit_map AS t ON t.given = s.unit
    LEFT JOIN pay_code_map AS p ON p.pay_code = s.pay_code
    LEFT JOIN then_pay_codes AS c ON c.pay_code = s.pay_code
    WHERE NOT g.is_aside AND s.first_day <= s.last_day
        AND (s.pay_code IS NULL OR coalesce(CASE g.side WHEN 'now' THEN p.meaning ELSE c.meaning END, '') = 'worked')
),
stretches AS (
    SELECT q.quarter, y.year, greatest(q.quarter_start, make_date(y.year, 1, 1)) AS from_day,
        least(q.quarter_end, make_date(y.year, 12, 31)) AS to_day
    FROM quarters AS q
    JOIN (SELECT unnest(generate_series(1900, 2200))::BIGINT AS year) AS y
        ON y.year BETWEEN date_part('year', q.quarter_start) AND date_part('year', q.quarter_end)
),
pieces AS (
    SELECT c.kind, c.id, c.rows, c.unit, s.quarter, s.year,
        c.times * ((c.hours_e8 * (least(s.to_day, c.last_day) - c.first_day + 1)) // (c.last_day - c.first_day + 1)
            - (c.hours_e8 * (greatest(s.from_day, c.first_day) - c.first_day)) // (c.last_day - c.first_day + 1)) AS hours_e8
    FROM counted AS c
    JOIN stretches AS s ON s.from_day <= c.last_day AND s.to_day >= c.first_day
),
once AS (
    SELECT kind, unit, quarter, year, id, grouping(unit, quarter) AS level, any_value(rows) AS rows, sum(hours_e8) AS hours_e8
    FROM pieces
    GROUP BY GROUPING SETS ((kind, unit, quarter, year, id), (kind, quarter, year, id), (kind, id))
)
SELECT kind, unit, quarter, year, CAST(sum(rows) AS BIGINT) AS rows, CAST(sum(hours_e8) AS DOUBLE) / 100000000.0 AS hours
FROM once
GROUP BY kind, unit, quarter, year, level
ORDER BY kind, unit NULLS FIRST, quarter NULLS FIRST, year NULLS FIRST;
