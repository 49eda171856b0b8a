-- grain: one file x file number x rule x value: rows that a rule set aside, with the first lines and what they move
SELECT file, file_no, fate, found, count(*) AS rows, min(line) AS line, CAST(sum(hours) AS DOUBLE) AS hours,
    sum(cases) AS cases, min(line, 5)[2:5] AS more_lines
FROM (
    SELECT 'hours' AS file, file_no, fate, line, hours, 0 AS cases,
        CASE WHEN fate = 'unmapped pay code' THEN pay_code ELSE '' END AS found
    FROM work.fated_hours
    WHERE fate IN ('no date', 'period reversed', 'unmapped pay code', 'negative total', 'period loaded twice')
    UNION ALL
    SELECT 'incidents', file_no, fate, line, 0, 1, CASE WHEN fate = 'unit without hours' THEN unit ELSE '' END
    FROM stg_incidents
    WHERE fate IN ('after the exports were taken', 'unit without hours', 'no outcome')
    UNION ALL
    SELECT 'training', file_no, fate, line, 0, 0, ''
    FROM stg_training
    WHERE fate IN ('completed in the future', 'expires before it is completed')
)
GROUP BY file, file_no, fate, found
ORDER BY file, file_no, fate, found;
