-- grain: one published rate that the facility supplied
CREATE TABLE out_reference_rates AS
SELECT naics, ownership, year, case_type, CAST(rate AS DOUBLE) AS rate, base_hours, source
FROM raw_reference_rates
ORDER BY naics, ownership, year, case_type, source;
