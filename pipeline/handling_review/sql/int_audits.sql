-- grain: one step of a technique audit inside the review, with its quarter and unit
CREATE VIEW int_audits AS
SELECT o.file_no, o.record, o.line, q.quarter, m.unit, o.transfer_type, o.item, o.met
FROM raw_observations AS o
CROSS JOIN settings AS s
JOIN int_unit_map AS m ON m.given = o.unit
JOIN quarters AS q ON o.observed_on BETWEEN q.quarter_start AND q.quarter_end
WHERE o.observed_on BETWEEN s.review_start AND s.review_end;
