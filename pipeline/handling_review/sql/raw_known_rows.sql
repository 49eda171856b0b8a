-- grain: one row of the first files of hours of an earlier review, whose slots are numbered first, in the old order
INSERT INTO raw_hours_rows
SELECT * FROM source.main.raw_hours_rows WHERE slot < $slots;
