-- grain: one file x fate of its rows that reached the store
CREATE TABLE out_row_accounting AS
WITH fates AS (
    SELECT 'incidents' AS file, fate, count(*) AS rows, 0 AS hours FROM stg_incidents GROUP BY fate
    UNION ALL SELECT 'hours', fate, CAST(sum(rows) AS BIGINT), CAST(sum(hours) AS DOUBLE) FROM work.hour_groups GROUP BY fate
    UNION ALL SELECT 'training', fate, count(*), 0 FROM stg_training GROUP BY fate
    UNION ALL SELECT 'units', 'used', count(*), 0 FROM raw_units
    UNION ALL SELECT 'equipment', 'used', count(*), 0 FROM raw_equipment
    UNION ALL SELECT 'observations', 'used', count(*), 0 FROM raw_observations
    UNION ALL SELECT 'exposure', 'used', count(*), 0 FROM raw_exposure
    UNION ALL
    SELECT 'events', CASE
            WHEN e.date BETWEEN s.review_start AND s.review_end THEN 'used' ELSE 'outside the review period'
        END, count(*), 0
    FROM raw_events AS e CROSS JOIN settings AS s GROUP BY 2
    UNION ALL SELECT 'annual_totals', 'used', count(*), 0 FROM raw_annual_totals
    UNION ALL SELECT 'reference_rates', 'used', count(*), 0 FROM raw_reference_rates
)
SELECT file, fate, rows, CAST(hours AS DOUBLE) AS hours
FROM fates
WHERE rows > 0
ORDER BY file, fate;
