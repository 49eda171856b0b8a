"""The SQL of person-time against a plain day-by-day engine, on many small made-up facilities.

Each of them is measured once; the views of ``test_two_roads.py`` are held against the same database.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings

from handling_review.problems import DataProblem
from handling_review.program import read_program
from handling_review.review import measured
from property.drawn_facilities import Facility, Row, facilities, write
from property.plain_engine import BOXES, SERIES, Files, NoReviewDays, Settings, person_time
from property.test_two_roads import agree as both_roads_agree

FACILITIES = 25  # a whole run of the pipeline each
FATES = {
    *("already in another file", "period loaded twice", "negative total", "unmapped pay code", "not worked"),
    *("premium only", "no date", "period reversed", "outside the review period", "after the exports were taken"),
    *("struck out", "older version", "not staff", "no outcome", "unit without hours", "completed in the future"),
    *("expires before it is completed", "not a qualifying status", "not a qualifying course", "used"),
}


def compare(facility: Facility) -> Counter[str]:
    """Run both engines and hold every cell, event count, sum of hours and row count against each other; so both roads.

    Returns what the facility held, so that a run can show that it met every kind of cell, and rows of both roads.
    """
    with tempfile.TemporaryDirectory() as folder:
        program = read_program(write(facility, Path(folder)))
        try:
            plain = person_time(facility.files, facility.program)
        except NoReviewDays:
            try:
                measured(program, facility.program.as_of, Path(folder))
            except DataProblem:
                return Counter(["no review days"])
            raise AssertionError("the review has no day and was measured") from None
        found = measured(program, facility.program.as_of, Path(folder)).tables
        on_both_roads = both_roads_agree(Path(folder) / "review.duckdb")
    keys = ["quarter", "unit", "phase", "go_live_phase", "lapsed", "series"]
    frame = found["person_time"]
    counted = zip(frame["events"], frame["hours"], strict=True)
    table = dict(zip(frame[keys].itertuples(index=False, name=None), counted, strict=True))
    assert len(table) == len(frame), "a cell stands twice"
    assert set(table) == set(plain.table)
    seen: Counter[str] = Counter({"rows of both roads": on_both_roads})
    for cell, (events, hours) in plain.table.items():
        assert table[cell][0] == events, cell
        assert abs(Fraction(table[cell][1]) - hours) <= Fraction(1, 10**9), cell
        seen.update({f"{cell[2]}, go-live {cell[3]}, lapsed {cell[4]}": hours > 0, cell[5]: events})
    ledger = found["accounting"]
    used = ledger[ledger["rule"] == "used"].set_index("file")["rows"]
    assert {file: used[file] for file in plain.used_rows} == plain.used_rows
    seen.update(ledger["rule"])
    return seen


def test_both_engines_agree_on_every_facility() -> None:
    """One facility a seed: in a run of many most are near copies of each other, and each costs a whole review."""
    seen: Counter[str] = Counter()
    met: set[str] = set()
    phases = (Phase.generate, Phase.shrink)  # explaining a failure runs it many times more

    def agrees(facility: Facility) -> None:
        if repr(facility) not in met:  # every run starts with the same simplest facility
            seen.update(compare(facility))
            met.add(repr(facility))

    fresh = settings(
        max_examples=2, database=None, deadline=None, phases=phases, suppress_health_check=list(HealthCheck)
    )
    for number in range(FACILITIES):
        seed(number)(fresh(given(facilities())(agrees)))()
    assert len(met) > 0.9 * FACILITIES
    assert seen["rows of both roads"] > 500
    kinds = [(phase, False) for phase in ("before", "washout", "after", "never", "unknown")] + [("after", True)]
    wanted = {
        f"{phase}, go-live {side}, lapsed {lapsed}" for phase, lapsed in kinds for side in ("before", "after", "none")
    }
    rare = {kind for kind in {*wanted, *SERIES, *FATES} if not seen[kind]}
    assert not rare, "the facilities drawn do not reach every kind of cell and fate"


def hours_row(first: str | None, last: str | None, hours: str, worked_on: str | None = None, file_no: int = 1) -> Row:
    days = [None if day is None else date.fromisoformat(day) for day in (first, last, worked_on)]
    names = ("period_start", "period_end", "work_date")
    given = {"employee_id": "1", "unit": "A", "hours": Decimal(hours), "pay_code": None, "file_no": file_no}
    return {**given, **dict(zip(names, days, strict=True))}


def completion(on: str, expires: str | None = None, file_no: int = 1) -> Row:
    given = {"employee_id": "1", "course": "Safe handling", "status": "completed", "file_no": file_no}
    expires_on = None if expires is None else date.fromisoformat(expires)
    return {**given, "completed_on": date.fromisoformat(on), "expires_on": expires_on}


def case_on(day: date) -> Row:
    empty = ("activity", "event_type", "handling_related", "source_person", "privacy_case", "person_type", "row_status")
    given = {"case_number": day.isoformat(), "employee_id": "1", "event_date": day, "unit": "A", "outcome": "days_away"}
    return {**given, **dict.fromkeys((*empty, "version", *BOXES)), "file_no": 1}


HALF_YEAR = (hours_row("2024-01-01", "2024-06-30", "182"),)
TURNS = tuple(date.fromisoformat(day) for day in ("2024-01-01", "2024-01-02", "2024-02-09", "2024-02-10", "2024-03-01"))
EXPIRES = completion("2024-01-01", "2024-02-09")
LAPSES: Mapping[str, Sequence[Row]] = {
    "never": [completion("2024-01-01")],
    "for one day": [EXPIRES, completion("2024-02-10")],
    "for no day": [EXPIRES, completion("2024-02-09")],
    "and a completion that expires on its own day": [EXPIRES, completion("2024-03-01", "2024-03-01")],
    "before and after one": [EXPIRES, completion("2024-03-01", "2024-03-01"), completion("2024-04-01")],
    "from the end of the washout": [completion("2024-01-01", "2024-01-01"), completion("2024-01-02", "2024-01-02")],
    "later by a second extract": [EXPIRES, completion("2024-01-01", "2024-05-09", file_no=2)],
}
MONTH = ("2024-01-01", "2024-01-31")
CORRECTIONS: Mapping[str, Sequence[Row]] = {
    "leave a remainder": [hours_row(*MONTH, hours) for hours in ("10", "-0.0001", "-1")],
    "stand in two extracts": [hours_row(*MONTH, hours, file_no=n) for hours, n in (("10", 1), ("-8", 1), ("-8", 2))],
    "have half a period": [
        hours_row(None, None, "10", "2024-01-03"),
        hours_row("2024-01-01", None, "-8", "2024-01-03"),
        *HALF_YEAR,
    ],
}


def agree(hours: Sequence[Row], training: Sequence[Row]) -> None:
    program = Settings(as_of=date(2024, 12, 31), start=date(2024, 1, 1), end=date(2024, 6, 30), washout_days=0)
    compare(Facility(Files(hours, [case_on(day) for day in TURNS], training), program))


@pytest.mark.parametrize("lapse", LAPSES)
def test_both_engines_agree_where_training_lapses(lapse: str) -> None:
    agree(HALF_YEAR, LAPSES[lapse])


@pytest.mark.parametrize("corrections", CORRECTIONS)
def test_both_engines_agree_where_corrections(corrections: str) -> None:
    agree(CORRECTIONS[corrections], [completion("2024-01-17")])
