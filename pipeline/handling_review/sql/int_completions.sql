-- grain: one qualifying completion that is used, with the day on which training lapses unless another one follows
-- that is the day of expiry or the end of the refresher months, whichever is first; 9999-01-01 where there is neither
CREATE VIEW int_completions AS
SELECT t.employee_id, t.completed_on,
    least(
        coalesce(t.expires_on, DATE '9999-01-01'),
        CASE
            WHEN s.refresher_months IS NULL THEN DATE '9999-01-01'
            ELSE CAST(t.completed_on + to_months(s.refresher_months) AS DATE)
        END
    ) AS current_until
FROM stg_training AS t
CROSS JOIN settings AS s
WHERE t.fate = 'used';
