-- grain: one row of the training files with its fate; used rows are qualifying completions
-- a course of the program file that ends in * stands for every course that begins so
CREATE VIEW stg_training AS
SELECT t.file_no, t.record, t.line, t.employee_id, t.course, t.completed_on, t.expires_on, t.kind, t.competency,
    CASE
        WHEN r.record IS NOT NULL THEN 'already in another file'
        WHEN t.completed_on > s.as_of THEN 'completed in the future'
        WHEN t.expires_on < t.completed_on THEN 'expires before it is completed'
        WHEN q.status IS NULL THEN 'not a qualifying status'
        WHEN s.has_course_list AND NOT EXISTS (
            SELECT 1 FROM qualifying_courses AS c
            WHERE c.course = lower(t.course)
                OR (c.course LIKE '%*' AND starts_with(lower(t.course), rtrim(c.course, '*')))
        ) THEN 'not a qualifying course'
        ELSE 'used'
    END AS fate
FROM raw_training AS t
CROSS JOIN settings AS s
LEFT JOIN qualifying_statuses AS q ON q.status = t.status
LEFT JOIN int_repeated_rows AS r ON r.file = 'training' AND r.file_no = t.file_no AND r.record = t.record;
