-- grain: one file; pairs of cases that may be one: same person and day, or same person and body part within 365 days
WITH cases AS (
    SELECT file_no, record, line, employee_id, event_date, lower(body_part) AS body_part, activity
    FROM stg_incidents
    WHERE fate = 'used' AND employee_id IS NOT NULL AND is_recordable
)
SELECT b.file_no, min(b.line) AS line, count(*) FILTER (a.event_date = b.event_date) AS same_day,
    count(*) FILTER (a.event_date < b.event_date) AS same_part, count(*) AS rows,
    list_sort(list(DISTINCT b.line))[2:5] AS more_lines
FROM cases AS a
JOIN cases AS b ON a.employee_id = b.employee_id AND (
    (a.event_date = b.event_date AND (a.file_no, a.record) < (b.file_no, b.record))
    OR (a.body_part = b.body_part AND b.event_date > a.event_date AND b.event_date <= a.event_date + 365)
)
GROUP BY b.file_no
ORDER BY b.file_no;
