-- grain: one accepted row of the injury log as this review counts it, with the cells that it came from
SELECT r.*, s.unit AS counted_unit, s.outcome AS counted_outcome, s.is_handling, s.is_recordable, s.is_dart, s.fate
FROM raw_incidents AS r
JOIN stg_incidents AS s ON s.file_no = r.file_no AND s.record = r.record
ORDER BY r.file_no, r.record;
