-- grain: one person who still works here; it names people, so only the restricted worklist asks for it
SELECT employee_id, unit, CASE state WHEN 'unknown' THEN 'not_known' ELSE state END AS state, last_completed_on, due_on
FROM int_training_due
ORDER BY unit, CASE state WHEN 'overdue' THEN 1 WHEN 'never_trained' THEN 2 WHEN 'due' THEN 3 ELSE 4 END, employee_id;
