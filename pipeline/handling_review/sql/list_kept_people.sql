-- grain: one id of the hours files, in the order of its place
SELECT employee_id FROM work.kept_people ORDER BY place;
