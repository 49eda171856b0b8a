-- grain: one slot of the hours files x one stretch of its days that lies in one quarter and on one side of go-live
-- cell_no: what hours are summed under besides their person: unit, quarter, side of go-live, source, job
CREATE TABLE work.slot_parts AS
SELECT s.slot, q.quarter_no, s.unit, u.quarter, u.go_live_phase, s.source, coalesce(j.job, lower(s.role), 'not given') AS job,
    s.first_day, s.last_day - s.first_day + 1 AS days, u.from_day, u.to_day,
    CAST(dense_rank() OVER (
        ORDER BY s.unit, u.quarter, u.go_live_phase, s.source, coalesce(j.job, lower(s.role), 'not given')
    ) AS INTEGER) AS cell_no
FROM work.slot_facts AS s
JOIN int_unit_periods AS u ON u.unit = s.unit AND u.first_day = s.first_day AND u.last_day = s.last_day
JOIN (SELECT DISTINCT quarter, quarter_no FROM work.stretches) AS q ON q.quarter = u.quarter
LEFT JOIN jobs AS j ON j.title = lower(s.role)
WHERE s.fate = 'used';
