-- grain: one slot of the first files of hours of an earlier review
INSERT INTO raw_hours_slots
SELECT * FROM source.main.raw_hours_slots WHERE file_no <= $files ORDER BY slot;
