-- grain: one person with hours (0: hours without an id); first and last day of all hours, first day of hours that count
-- worked_from: of hours above nought inside or outside the review; used_from: inside it
CREATE TABLE work.person_days AS
SELECT person, min(first_day) FILTER (last_day >= first_day) AS first_day,
    max(last_day) FILTER (last_day >= first_day) AS last_day,
    min(first_day) FILTER (fate IN ('used', 'outside the review period') AND hours > 0) AS worked_from,
    min(first_day) FILTER (fate = 'used' AND hours > 0) AS used_from
FROM work.fated_hours
GROUP BY person
ORDER BY person;
