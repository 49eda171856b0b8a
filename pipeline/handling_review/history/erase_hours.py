"""One person taken out of the hours of a database, whose rows are numbers: their rows stay without id and job.

Their rows go to person 0 and, where a job was given, to a slot that is the same but for the job. Slots that no row
names any longer go: a rare job could point at the person.
"""

from __future__ import annotations

from collections.abc import Sequence

import duckdb

TABLES = frozenset({"raw_hours_people", "raw_hours_slots", "raw_hours_rows"})
_THEIRS = """
CREATE TEMP TABLE theirs AS
SELECT person FROM old.raw_hours_people WHERE list_contains($1, employee_id)
"""
_COUNT = "SELECT count(*) FROM old.raw_hours_rows WHERE person IN (SELECT person FROM theirs)"
_WITHOUT_JOB = """
CREATE TEMP TABLE without_job AS
SELECT slot,
    CAST((SELECT max(slot) FROM old.raw_hours_slots) + row_number() OVER (ORDER BY slot) AS INTEGER) AS new_slot
FROM old.raw_hours_slots
WHERE role IS NOT NULL
    AND slot IN (SELECT slot FROM old.raw_hours_rows WHERE person IN (SELECT person FROM theirs))
"""
_ROWS = """
INSERT INTO new.raw_hours_rows
SELECT r.record, r.line, CASE WHEN t.person IS NULL THEN r.person ELSE 0 END,
    CASE WHEN t.person IS NULL THEN r.slot ELSE coalesce(w.new_slot, r.slot) END, r.hours
FROM old.raw_hours_rows AS r
LEFT JOIN theirs AS t ON t.person = r.person
LEFT JOIN without_job AS w ON w.slot = r.slot
ORDER BY r.rowid
"""
_SLOTS = """
INSERT INTO new.raw_hours_slots
SELECT *
FROM (
    SELECT * FROM old.raw_hours_slots
    UNION ALL
    SELECT s.* REPLACE (w.new_slot AS slot, NULL AS role)
    FROM old.raw_hours_slots AS s JOIN without_job AS w ON w.slot = s.slot
)
WHERE slot IN (SELECT slot FROM new.raw_hours_rows)
ORDER BY slot
"""
_PEOPLE = """
INSERT INTO new.raw_hours_people
SELECT * FROM old.raw_hours_people WHERE person NOT IN (SELECT person FROM theirs) ORDER BY person
"""


def erase_hours(con: duckdb.DuckDBPyConnection, ids: Sequence[str]) -> int:
    """Fill the tables of hours of the attached database ``new`` from ``old`` without the person; returns their rows.

    ``ids``: every id or pseudonym the person is kept under.
    """
    con.execute(_THEIRS, [list(ids)])
    counted = con.execute(_COUNT).fetchall()
    for sql in (_WITHOUT_JOB, _ROWS, _SLOTS, _PEOPLE):
        con.execute(sql)
    return int(counted[0][0])
