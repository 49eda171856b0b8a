-- grain: one quarter x activity x equipment in use x technique x load x suited equipment, handling cases only
CREATE TABLE out_tasks AS
SELECT quarter, activity, equipment_in_use, technique, load, suited_equipment,
    count(*) FILTER (is_recordable) AS recordable, count(*) FILTER (outcome = 'first_aid') AS first_aid
FROM int_case_details
GROUP BY ALL
ORDER BY ALL;
