-- grain: one content of slots of a part of time; places follow each other without a gap, since the day comes first in them
SELECT DISTINCT place, unit, period_start, period_end, work_date, role, pay_code, source
FROM work.kept_slots
WHERE part_no = ?
ORDER BY place;
