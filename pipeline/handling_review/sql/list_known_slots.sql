-- grain: one slot of the first files of hours in the database of an earlier review, in the order of their numbers
SELECT * FROM source.main.raw_hours_slots WHERE file_no <= ? ORDER BY slot;
