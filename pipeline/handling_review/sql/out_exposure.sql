-- grain: one unit x quarter x side of go-live x measure of the exposure file
CREATE TABLE out_exposure AS
SELECT quarter, unit, go_live_phase, measure, CAST(sum(part_e4) / 10000.0 AS DOUBLE) AS quantity
FROM int_exposure_parts
GROUP BY quarter, unit, go_live_phase, measure
ORDER BY quarter, unit, go_live_phase, measure;
