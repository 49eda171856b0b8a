-- grain: one case of one series in the whole facility (unit is blank) or in one unit, in the order of its events: days
-- since the one before (none for the first), with the quarter but not the day of its event; days_since the last one to
-- the day through which the log is complete stands on every row of its place and series
CREATE TABLE out_waits AS
WITH cases AS (
    SELECT c.unit, c.quarter, c.event_date, c.case_number, c.file_no, c.record, r.series
    FROM int_cases AS c
    CROSS JOIN series AS r
    WHERE (r.series = 'handling' AND c.is_recordable AND c.is_handling)
        OR (r.series = 'recordable' AND c.is_recordable)
        OR (r.series = 'dart' AND c.is_dart)
        OR (r.series = 'days_away' AND c.outcome = 'days_away')
),
placed AS (
    SELECT * REPLACE ('' AS unit) FROM cases
    UNION ALL
    SELECT * FROM cases
),
ordered AS (
    SELECT unit, series, quarter, event_date,
        row_number() OVER (PARTITION BY unit, series ORDER BY event_date, case_number, file_no, record) AS position,
        max(event_date) OVER (PARTITION BY unit, series) AS last_event
    FROM placed
)
SELECT o.unit, o.series, o.position, o.quarter,
    o.event_date - lag(o.event_date) OVER (PARTITION BY o.unit, o.series ORDER BY o.position) AS days,
    least(s.log_through, s.review_end) - o.last_event AS days_since
FROM ordered AS o
CROSS JOIN settings AS s
ORDER BY o.unit, o.series, o.position;
