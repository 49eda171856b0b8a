-- grain: one unit with hours or cases that the units file does not list, where there is a units file
SELECT m.unit AS found, CAST(coalesce(h.hours, 0) AS DOUBLE) AS hours, coalesce(i.cases, 0) AS cases,
    coalesce(h.rows, 0) + coalesce(i.cases, 0) AS rows
FROM (SELECT DISTINCT unit FROM int_unit_map WHERE is_unlisted AND lower(given) <> 'all') AS m
LEFT JOIN (
    SELECT unit, sum(hours) AS hours, CAST(sum(rows) AS BIGINT) AS rows FROM work.hour_groups WHERE fate = 'used' GROUP BY unit
) AS h ON h.unit = m.unit
LEFT JOIN (
    SELECT unit, count(*) AS cases FROM stg_incidents WHERE fate = 'used' GROUP BY unit
) AS i ON i.unit = m.unit
WHERE (SELECT count(*) FROM raw_units) > 0 AND (h.unit IS NOT NULL OR i.unit IS NOT NULL)
ORDER BY m.unit;
