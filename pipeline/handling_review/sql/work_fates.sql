-- grain: one row of the hours files that has a fate of its own, whatever that of its slot; negative totals only among
-- rows that would be used otherwise
CREATE TABLE work.fates AS
SELECT file_no, record, arg_min(fate, place) AS fate, min(place) < 3 AS is_first
FROM (
    SELECT file_no, record, 'already in another file' AS fate, 1 AS place FROM int_repeated_rows WHERE file = 'hours'
    UNION ALL SELECT file_no, record, 'period loaded twice', 2 FROM int_double_loads
    UNION ALL SELECT file_no, record, 'negative total', 3 FROM int_negative_totals
)
GROUP BY file_no, record
ORDER BY file_no, record;
