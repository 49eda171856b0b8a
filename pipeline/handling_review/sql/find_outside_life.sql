-- grain: one unit with hours or cases before it opened or after it closed
WITH outside AS (
    SELECT h.unit, h.hours, h.rows, 0 AS cases
    FROM work.hour_groups AS h
    JOIN stg_units AS u ON u.unit = h.unit
    WHERE h.fate = 'used' AND (h.last_day < u.opened_on OR h.first_day > u.closed_on)
    UNION ALL
    SELECT i.unit, 0, 1, 1
    FROM stg_incidents AS i
    JOIN stg_units AS u ON u.unit = i.unit
    WHERE i.fate = 'used' AND (i.event_date < u.opened_on OR i.event_date > u.closed_on)
)
SELECT unit AS found, CAST(sum(rows) AS BIGINT) AS rows, CAST(sum(hours) AS DOUBLE) AS hours, CAST(sum(cases) AS BIGINT) AS cases
FROM outside
GROUP BY unit
ORDER BY unit;
