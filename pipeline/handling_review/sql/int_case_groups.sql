-- grain: one used row of the injury log, with the groups that it stands in: job, time since the first hours, part of the
-- body, nature, hour of day
CREATE VIEW int_case_groups AS
SELECT c.file_no, c.record, c.line, c.quarter, c.is_recordable, c.is_handling, c.is_dart, c.outcome,
    coalesce(j.job, lower(c.job_title), 'not given') AS job,
    coalesce(t.tenure, (SELECT tenure FROM tenure_bands WHERE from_days IS NULL)) AS tenure,
    coalesce(lower(trim(split_part(c.body_part, ';', 1))), 'not given') AS body_part,
    coalesce(c.nature, 'not given') AS nature,
    CASE WHEN c.event_hour IS NULL THEN 'not given' ELSE lpad(CAST(c.event_hour // 4 * 4 AS VARCHAR), 2, '0') END AS hour
FROM int_cases AS c
LEFT JOIN jobs AS j ON j.title = lower(c.job_title)
LEFT JOIN int_first_days AS f ON f.employee_id = c.employee_id AND f.is_seen_to_start
LEFT JOIN tenure_bands AS t ON c.event_date BETWEEN f.first_day + t.from_days AND f.first_day + t.to_days;
