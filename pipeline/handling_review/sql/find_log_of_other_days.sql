-- grain: one row where no event of the log lies on a day of the review
SELECT count(*) AS rows, count(*) AS cases, strftime(min(i.event_date), '%Y-%m') AS first_event,
    strftime(max(i.event_date), '%Y-%m') AS last_event
FROM stg_incidents AS i
CROSS JOIN settings AS s
HAVING count(*) > 0 AND count(*) FILTER (i.event_date BETWEEN s.review_start AND s.review_end) = 0;
