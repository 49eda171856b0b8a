-- grain: one unit with cases in the review but no hours worked in it, although the hours files name it
SELECT i.unit AS found, count(*) AS rows, count(*) AS cases, min(i.line) AS line
FROM int_cases AS i
WHERE i.unit NOT IN (SELECT unit FROM int_person_time GROUP BY unit HAVING sum(hours_e8) > 0)
    AND i.unit NOT IN (SELECT unit FROM work.hour_groups WHERE fate = 'unmapped pay code')  -- told already
GROUP BY i.unit
ORDER BY i.unit;
