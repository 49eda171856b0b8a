-- grain: one case with more than one of the four outcome boxes ticked
SELECT file_no, line, boxes_ticked || ' boxes, counted as ' || outcome AS found
FROM stg_incidents
WHERE fate = 'used' AND boxes_ticked > 1
ORDER BY file_no, line;
