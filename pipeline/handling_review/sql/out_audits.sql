-- grain: one quarter x unit x type of transfer x step of the technique audits, by what the observer wrote
CREATE TABLE out_audits AS
SELECT quarter, unit, transfer_type, item,
    count(*) FILTER (WHERE met = 'yes') AS met,
    count(*) FILTER (WHERE met = 'no') AS not_met,
    count(*) FILTER (WHERE met = 'not_applicable') AS not_applicable
FROM int_audits
GROUP BY quarter, unit, transfer_type, item
ORDER BY quarter, unit, transfer_type, item;
