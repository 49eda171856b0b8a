-- grain: one row: how many rows and slots the first files of hours have in the database of an earlier review
WITH first_slots AS (
    SELECT slot FROM source.main.raw_hours_slots WHERE file_no <= ?
)
SELECT (SELECT count(*) FROM source.main.raw_hours_rows WHERE slot IN (SELECT slot FROM first_slots)) AS rows,
    (SELECT count(*) FROM first_slots) AS slots;
