-- grain: one old unit with hours after its change, or new unit with hours before it
SELECT c.unit AS found, c.side, CAST(c.changed_on AS VARCHAR) AS changed_on, CAST(sum(h.rows) AS BIGINT) AS rows,
    CAST(sum(h.hours_given) AS DOUBLE) AS hours, min(h.line) AS line
FROM unit_changes AS c
JOIN work.hour_groups AS h ON lower(h.unit_given) = c.unit_key
WHERE (c.side = 'old' AND h.first_day >= c.changed_on)
    OR (c.side = 'new' AND h.last_day < c.changed_on)
GROUP BY c.unit, c.side, c.changed_on
ORDER BY c.unit, c.side;
