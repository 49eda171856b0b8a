-- grain: one person x file x days with more than one used row, or more hours than the days can hold
CREATE TABLE work.crowds AS
WITH sums AS (
    SELECT h.person, h.span_no, count(*) AS rows, sum(h.hours) AS hours, min(h.line) AS line
    FROM work.fated_hours AS h
    CROSS JOIN settings AS f
    WHERE h.fate = 'used' AND h.person > 0
        AND (h.span_no IN (SELECT span_no FROM work.crowded_spans)
            OR h.hours > f.hours_per_day * (h.last_day - h.first_day + 1))
    GROUP BY h.person, h.span_no
),
spans AS (
    SELECT DISTINCT span_no, file_no, first_day, last_day FROM work.slot_facts
)
SELECT t.person, t.span_no, t.rows, t.hours, t.line, s.file_no, s.first_day, s.last_day,
    t.hours > f.hours_per_day * (s.last_day - s.first_day + 1) AS is_long
FROM sums AS t
JOIN spans AS s ON s.span_no = t.span_no
CROSS JOIN settings AS f
WHERE t.rows > 1 OR t.hours > f.hours_per_day * (s.last_day - s.first_day + 1)
ORDER BY t.span_no, t.person;
