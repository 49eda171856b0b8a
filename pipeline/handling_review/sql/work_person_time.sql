-- grain: one person (0: hours without an id) x cell of work.slot_parts x kind of stretch of work.stretches
-- the one pass over the rows for person-time, in words that Spark has as well (store/portable.py)
-- hours are shared over days as in int_hours_parts, to the same whole numbers
CREATE TABLE work.person_time AS
SELECT h.person, p.cell_no, t.kind_no,
    CAST(sum(CASE
        WHEN p.days = 1 THEN CAST(h.hours * 10000 AS BIGINT) * 10000
        ELSE (CAST(h.hours * 10000 AS BIGINT) * 10000 * (date_diff('day', p.first_day, least(p.to_day, t.to_day)) + 1)) // p.days
            - (CAST(h.hours * 10000 AS BIGINT) * 10000 * date_diff('day', p.first_day, greatest(p.from_day, t.from_day))) // p.days
    END) AS BIGINT) AS hours_e8
FROM work.fated_hours AS h
JOIN work.slot_parts AS p ON p.slot = h.slot
JOIN work.stretches AS t
    ON t.person = h.person AND t.quarter_no = p.quarter_no AND t.from_day <= p.to_day AND t.to_day >= p.from_day
WHERE h.fate = 'used'
GROUP BY h.person, p.cell_no, t.kind_no;
