-- grain: one quarter x unit x type of transfer x step of the technique audits, by what the observer wrote
CREATE TABLE out_audits AS
SELECT q.quarter, m.unit, o.transfer_type, o.item,
    count(*) FILTER (WHERE o.met = 'yes') AS met,
    count(*) FILTER (WHERE o.met = 'no') AS not_met,
    count(*) FILTER (WHERE o.met = 'not_applicable') AS not_applicable
FROM raw_observations AS o
CROSS JOIN settings AS s
JOIN int_unit_map AS m ON m.given = o.unit
JOIN quarters AS q ON o.observed_on BETWEEN q.quarter_start AND q.quarter_end
WHERE o.observed_on BETWEEN s.review_start AND s.review_end
GROUP BY q.quarter, m.unit, o.transfer_type, o.item
ORDER BY q.quarter, m.unit, o.transfer_type, o.item;
