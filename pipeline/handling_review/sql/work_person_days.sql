-- grain: one person with hours (0: hours without an id); first and last day of all hours, first day of hours that count
-- worked_from: of hours above nought inside or outside the review; used_from: inside it
CREATE TABLE work.person_days AS
SELECT person, min(CASE WHEN last_day >= first_day THEN first_day END) AS first_day,
    max(CASE WHEN last_day >= first_day THEN last_day END) AS last_day,
    min(CASE WHEN hours > 0 AND fate IN ('used', 'outside the review period') THEN first_day END) AS worked_from,
    min(CASE WHEN hours > 0 AND fate = 'used' THEN first_day END) AS used_from
FROM work.fated_hours
GROUP BY person
ORDER BY person;
