-- grain: one hours file in which some rows have a pay code and others none; the latter count as worked
SELECT file_no, min(line) FILTER (pay_code IS NULL) AS line, CAST(sum(rows) FILTER (pay_code IS NULL) AS BIGINT) AS rows,
    CAST(sum(hours) FILTER (pay_code IS NULL) AS DOUBLE) AS hours
FROM work.hour_groups
WHERE fate = 'used'
GROUP BY file_no
HAVING count(pay_code) > 0 AND count(*) > count(pay_code)
ORDER BY file_no;
