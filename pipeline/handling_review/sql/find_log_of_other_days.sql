-- grain: one row where no event of the log lies on a day of the review
SELECT count(*) AS rows, count(*) AS cases, CAST(min(i.event_date) AS VARCHAR) AS first_event,
    CAST(max(i.event_date) AS VARCHAR) AS last_event
FROM stg_incidents AS i
CROSS JOIN settings AS s
HAVING count(*) > 0 AND count(*) FILTER (i.event_date BETWEEN s.review_start AND s.review_end) = 0;
