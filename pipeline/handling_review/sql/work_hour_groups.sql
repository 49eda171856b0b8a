-- grain: one slot x fate of the hours files: rows, hours as counted and as given, first line; many checks need no more
CREATE TABLE work.hour_groups AS
WITH sums AS (
    SELECT slot, fate, count(*) AS rows, sum(hours) AS hours, sum(hours_given) AS hours_given,
        CAST(sum(hours) * 100000000 AS BIGINT) AS hours_e8, min(line) AS line,
        count(*) FILTER (person = 0) AS rows_without_id
    FROM work.fated_hours
    GROUP BY slot, fate
)
SELECT g.*, s.file_no, s.unit, s.unit_given, s.first_day, s.last_day, s.pay_code, s.source
FROM sums AS g
JOIN work.slot_facts AS s ON s.slot = g.slot
ORDER BY g.slot, g.fate;
