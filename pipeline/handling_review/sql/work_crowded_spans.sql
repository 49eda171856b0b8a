-- grain: one file and days (a span) in which some person may have more than one row; in all others nobody has
-- a span has as many bits set as it has people; where bits for all spans would not fit, every span is taken for crowded
CREATE TABLE work.crowded_spans AS
SELECT s.span_no
FROM work.hours AS h
JOIN work.slot_facts AS s ON s.slot = h.slot
WHERE $fits AND h.person > 0
GROUP BY s.span_no
HAVING count(*) > bit_count(bitstring_agg(h.person, 0, $people))
UNION ALL
SELECT DISTINCT span_no FROM work.slot_facts WHERE NOT $fits;
