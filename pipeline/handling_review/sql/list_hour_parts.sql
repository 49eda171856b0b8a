-- grain: one hours file x part of time: rows, first record and line, and sums of hashes that name its content and places
WITH marked AS NOT MATERIALIZED (
    SELECT s.file_no, s.part_no, h.record, h.line, hash(p.one, s.one, h.hours) AS one, hash(p.two, s.two, h.hours) AS two
    FROM raw_hours_rows AS h
    JOIN work.kept_slots AS s ON s.slot = h.slot
    LEFT JOIN work.kept_people AS p ON p.person = h.person
),
firsts AS (
    SELECT file_no, part_no, min(record) AS record, min(line) AS line FROM marked GROUP BY file_no, part_no
)
SELECT m.file_no, m.part_no, count(*) AS rows, any_value(f.record) AS first_record, any_value(f.line) AS first_line,
    sum(m.one) AS content_sum, bit_xor(m.two) AS content_xor,
    sum(hash(m.one, m.record - f.record, m.line - f.line)) AS places_sum,
    bit_xor(hash(m.two, m.record - f.record, m.line - f.line)) AS places_xor
FROM marked AS m
JOIN firsts AS f ON f.file_no = m.file_no AND f.part_no = m.part_no
GROUP BY m.file_no, m.part_no
ORDER BY m.file_no, m.part_no;
