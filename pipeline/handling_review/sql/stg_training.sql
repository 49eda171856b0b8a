-- grain: one row of the training files with its fate; used rows are qualifying completions
CREATE VIEW stg_training AS
SELECT t.file_no, t.record, t.line, t.employee_id, t.course, t.completed_on, t.expires_on, t.kind, t.competency,
    CASE
        WHEN t.completed_on > s.as_of THEN 'completed in the future'
        WHEN t.expires_on < t.completed_on THEN 'expires before it is completed'
        WHEN q.status IS NULL THEN 'not a qualifying status'
        WHEN s.has_course_list AND c.course IS NULL THEN 'not a qualifying course'
        ELSE 'used'
    END AS fate
FROM raw_training AS t
CROSS JOIN settings AS s
LEFT JOIN qualifying_statuses AS q ON q.status = t.status
LEFT JOIN qualifying_courses AS c ON c.course = lower(t.course);
