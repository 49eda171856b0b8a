"""Person-time is summed in one pass over whole numbers; the views that trace shows sum the same, row by row.

The one pass (``work_*.sql``) reads tables that stand beside the database while it is built. The views
(``int_hours_parts``, ``int_staff_parts``, ``stg_hours``) read the rows as they came. Both must say the same of every
facility, to the last hundred-millionth of an hour: here of the sample, in ``test_person_time_agrees.py`` of facilities
drawn at random.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import duckdb

from handling_review import starter
from handling_review.program import read_program
from handling_review.review import measured

_KEY = "employee_id, unit, quarter, phase, band, lapsed, is_remedial, go_live_phase, source"
ROADS = {
    "person-time": (
        f"SELECT {_KEY}, hours_e8 FROM int_person_time ORDER BY ALL",
        f"SELECT {_KEY}, sum(part_e8)::BIGINT FROM int_hours_parts GROUP BY {_KEY} ORDER BY ALL",
    ),
    "hours of staff": (
        "SELECT quarter, job, tenure, hours FROM out_staff_hours ORDER BY ALL",
        "SELECT quarter, job, tenure, (sum(part_e8) / 100000000.0)::DOUBLE FROM int_staff_parts GROUP BY ALL "
        "ORDER BY ALL",
    ),
    "fates": (
        "SELECT fate, rows, hours FROM out_row_accounting WHERE file = 'hours' ORDER BY ALL",
        "SELECT fate, count(*), sum(hours)::DOUBLE FROM stg_hours GROUP BY fate ORDER BY ALL",
    ),
    "periods": (
        "SELECT unit, first_day, last_day, hours_e8 FROM int_period_totals ORDER BY ALL",
        "SELECT unit, first_day, last_day, sum((hours * 100000000)::BIGINT)::BIGINT FROM stg_hours WHERE fate = 'used' "
        "GROUP BY ALL ORDER BY ALL",
    ),
    "first days": (
        "SELECT employee_id, first_day FROM int_first_days ORDER BY ALL",
        "SELECT employee_id, min(first_day) FROM stg_hours WHERE fate IN ('used', 'outside the review period') AND "
        "hours > 0 AND employee_id IS NOT NULL GROUP BY employee_id ORDER BY ALL",
    ),
}


def both(database: Path) -> dict[str, tuple[list[tuple[Any, ...]], list[tuple[Any, ...]]]]:
    """What either road says, by subject; nothing of the tables beside the database is left in it or in its folder."""
    with duckdb.connect(str(database), read_only=True) as con:
        told = {name: (con.execute(a).fetchall(), con.execute(b).fetchall()) for name, (a, b) in ROADS.items()}
    assert not list(database.parent.rglob("work.duckdb*"))
    return told


def agree(database: Path) -> int:
    """Hold both roads against each other; returns how many rows were compared."""
    compared = 0
    for name, (one_pass, by_rows) in both(database).items():
        assert one_pass == by_rows, name
        compared += len(one_pass)
    return compared


def test_both_roads_agree_on_the_sample(tmp_path: Path) -> None:
    program = read_program(starter.copy_sample(tmp_path / "files"))
    assert program.review.as_of is not None
    measured(program, program.review.as_of, tmp_path)
    assert agree(tmp_path / "review.duckdb") > 5_000
