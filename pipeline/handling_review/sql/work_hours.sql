-- grain: one row of the hours files as numbers: its person and slot, with its hours as given
CREATE VIEW work.hours AS
SELECT record, line, person, slot, hours AS hours_given FROM review.main.raw_hours_rows;
