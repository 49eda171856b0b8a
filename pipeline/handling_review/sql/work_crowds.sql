-- grain: one person x file x days with more than one used row, or more hours than the days can hold
CREATE TABLE work.crowds AS
WITH sums AS (
    SELECT person, span_no, count(*) AS rows, sum(hours) AS hours, min(line) AS line
    FROM work.fated_hours
    WHERE fate = 'used' AND person > 0
    GROUP BY person, span_no
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
