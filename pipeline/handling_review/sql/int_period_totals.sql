-- grain: one unit x period of the hours file, with all hours of its used rows, in hundred-millionths of an hour
CREATE TABLE int_period_totals AS
SELECT unit, first_day, last_day, CAST(sum(hours_e8) AS BIGINT) AS hours_e8
FROM work.hour_groups
WHERE fate = 'used'
GROUP BY unit, first_day, last_day
ORDER BY unit, first_day, last_day;
