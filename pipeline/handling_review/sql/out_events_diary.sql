-- grain: one entry of the programme diary inside the review
CREATE TABLE out_events_diary AS
SELECT e.date, CASE WHEN lower(e.unit) = 'all' THEN 'all' ELSE m.unit END AS unit, e.what
FROM raw_events AS e
CROSS JOIN settings AS s
JOIN int_unit_map AS m ON m.given = e.unit
WHERE e.date BETWEEN s.review_start AND s.review_end
ORDER BY e.date, 2, e.what;
