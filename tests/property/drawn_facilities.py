"""Small facilities drawn at random, full of days on which something changes, and written as a facility exports them."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from property.plain_calendar import months_later
from property.plain_engine import BOXES, Files, Settings

FIRST_DAY = date(2023, 11, 15)  # the days drawn span a year end and a leap day
LAST_TRAINING = 200  # days after the first day
PEOPLE = ("001", "002", "003", "ab-4")
STRANGER = "999"  # trained or injured, and never in the hours file
SPELLINGS = {
    "West Wing": ("West Wing", "WEST WING", "west  wing", "WW", "Old West"),
    "east wing": ("east wing", "East Wing", "EW"),
    "Étage 3": ("Étage 3", "étage 3"),
}
EVERY_SPELLING = tuple(name for names in SPELLINGS.values() for name in names)
COURSES = ("Safe handling", "SAFE HANDLING", "Safe handling II", "Refresher", "Fire drill")
COURSE_LISTS = ((), (), ("safe handling", "Refresher"), ("Safe Hand*",))
WORKED, NOT_WORKED, PREMIUM = ("REG", "OT"), ("PTO",), ("OTP",)
PAY_CODES = (None, None, None, "REG", "REG", "reg", "OT", "OT", "PTO", "otp", "??")  # the last is mapped nowhere
ACTIVITIES = (None, None, "unknown", "not_handling", "stand_pivot", "toileting")
EVENT_TYPES = (None, "unknown", "overexertion", "repetitive", "slip_trip_fall", "struck_or_caught", "violence", "other")
OUTCOMES = ("death", "days_away", "restricted_or_transfer", "other_recordable", "first_aid", "near_miss", None)
HOURS = ("0", "0.0001", "7.5", "8", "33.3333", "80", "80", "12345.6789", "-0.0001", "-8")
KINDS_OF_PERIOD = ("period",) * 8 + ("day", "day", "day and period", "half period", "reversed", "none")

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Facility:
    """Rows of the four files and what the program file says of them."""

    files: Files
    program: Settings


def later(draw: st.DrawFn, day: date, least: int, most: int) -> date:
    return day + timedelta(days=draw(st.integers(least, most)))


def maybe(draw: st.DrawFn, *values: Any) -> Any:
    """One of the values, or None about as often."""
    return draw(st.sampled_from((*(None for _ in values), *values)))


@st.composite
def completions(draw: st.DrawFn) -> Row:
    completed = FIRST_DAY + timedelta(days=draw(st.integers(0, LAST_TRAINING) | st.sampled_from((0, 30, 60, 90))))
    lasts = maybe(draw, -1, 0, 0, 1, 5, 29, 30, 30, 31, 60, 120)
    return {
        "employee_id": draw(st.sampled_from((*PEOPLE[:3], *PEOPLE[:2], STRANGER))),
        "course": draw(st.sampled_from(COURSES)),
        "completed_on": completed,
        "status": draw(st.sampled_from(("completed", "completed", "passed", "failed"))),
        "expires_on": None if lasts is None else completed + timedelta(days=lasts),
        "file_no": 1,
    }


@st.composite
def listed_units(draw: st.DrawFn) -> list[Row]:
    found: list[Row] = []
    for unit in (*SPELLINGS, "Old West"):
        if draw(st.booleans()):
            start = later(draw, FIRST_DAY, 0, LAST_TRAINING) if draw(st.integers(0, 2)) else None
            aliases = maybe(draw, "ww | W.W.") if unit == "West Wing" else None
            found.append({"unit": unit, "program_start": start, "aliases": aliases})
    return found


@st.composite
def programs(draw: st.DrawFn) -> Settings:
    west = draw(st.sampled_from(("West Wing", "WEST wing")))
    aliases = {"EW": "East Wing", "Old West": west, "WW": west}
    changes: list[tuple[date, tuple[str, ...], tuple[str, ...]]] = [
        (date(2024, 2, 1), ("Old West",), ("West Wing",)),
        (date(2024, 3, 1), ("West Wing",), ("Étage 3", "East Wing")),
    ]
    start = maybe(draw, later(draw, FIRST_DAY, 0, 60))
    end = maybe(draw, later(draw, start or FIRST_DAY, 0, 250))
    return Settings(
        as_of=later(draw, FIRST_DAY, 120, 400),
        start=start,
        end=end,
        log_complete_through=maybe(draw, date(2024, 5, 31)),
        hours_complete_through=maybe(draw, date(2024, 6, 8)),
        fiscal_year_start_month=draw(st.sampled_from((1, 7, 10)) | st.integers(1, 12)),
        worked=WORKED,
        unit_aliases={theirs: ours for theirs, ours in aliases.items() if draw(st.booleans())},
        unit_changes=tuple(one for one in changes if draw(st.integers(0, 5)) == 0),
        qualifying_courses=draw(st.sampled_from(COURSE_LISTS)),
        washout_days=draw(st.sampled_from((0, 1, 2, 30))),
        refresher_months=maybe(draw, 1, 2, 6),
        minimum_match_share=Fraction(draw(st.sampled_from(("0", "0.5", "0.8", "1")))),
    )


def turning_days(training: Sequence[Row], units: Sequence[Row], program: Settings) -> list[date]:
    """Days on which something changes, where errors by one day would show."""
    found = [date(2024, month, 1) for month in range(1, 8)] + [date(2024, 2, 29), date(2023, 12, 31)]
    found += [day for day in (program.start, program.end) if day is not None]
    found += [row["program_start"] for row in units if row["program_start"] is not None] * 2
    for row in training:
        found += [row["completed_on"], row["completed_on"] + timedelta(days=max(program.washout_days, 1))]
        if row["expires_on"] is not None:
            found.append(row["expires_on"])
        if program.refresher_months is not None:
            found.append(months_later(row["completed_on"], program.refresher_months))
    return found


@st.composite
def work(draw: st.DrawFn, turning: Sequence[date]) -> Row:
    length = draw(st.integers(1, 31) | st.sampled_from((1, 7, 14, 92, 400)))
    turn = draw(st.sampled_from(turning))
    first = later(draw, turn, -length, 1)
    last = first + timedelta(days=length - 1)
    kind = draw(st.sampled_from(KINDS_OF_PERIOD))
    return {
        "employee_id": draw(st.sampled_from((None, *PEOPLE, *PEOPLE))),
        "unit": draw(st.sampled_from(EVERY_SPELLING)),
        "period_start": {"day": None, "none": None, "reversed": last + timedelta(days=1)}.get(kind, first),
        "period_end": last if kind in ("period", "day and period", "reversed") else None,
        "work_date": turn if kind in ("day", "day and period", "half period") else None,
        "hours": Decimal(draw(st.sampled_from(HOURS))),
        "pay_code": draw(st.sampled_from(PAY_CODES)),
        "file_no": 1,
    }


@st.composite
def corrections(draw: st.DrawFn, rows: Sequence[Row]) -> Row:
    """A row that takes back some hours of another, perhaps under another spelling of its unit."""
    row = draw(st.sampled_from(rows))
    names = next(names for names in SPELLINGS.values() if row["unit"] in names)
    taken = row["hours"] * draw(st.sampled_from((Decimal("0.5"), Decimal(1), Decimal(2))))
    return {
        **row,
        "unit": draw(st.sampled_from(names)),
        "hours": -taken.quantize(Decimal("0.0001")),
        "pay_code": draw(st.sampled_from((row["pay_code"], "REG", None, "PTO"))),
    }


@st.composite
def loaded_twice(draw: st.DrawFn, rows: Sequence[Row]) -> list[Row]:
    """Rows of one period that stand twice, but for some at times."""
    row = draw(st.sampled_from(rows))
    people = draw(
        st.lists(st.tuples(st.sampled_from((None, *PEOPLE)), st.sampled_from(HOURS)), min_size=4, max_size=12)
    )
    once = [{**row, "employee_id": person, "hours": Decimal(hours)} for person, hours in people]
    return [*once, *once[draw(st.sampled_from((0, 0, 1, 2))) :]]


@st.composite
def cases(draw: st.DrawFn, turning: Sequence[date]) -> Row:
    given_outcome = draw(st.sampled_from(OUTCOMES))
    boxes = {box: None if given_outcome else maybe(draw, True, False) for box in BOXES}
    return {
        "case_number": str(draw(st.integers(1, 9))),
        "employee_id": draw(st.sampled_from((None, *PEOPLE, *PEOPLE, STRANGER))),
        "event_date": later(draw, draw(st.sampled_from(turning)), -1, 1),
        "unit": draw(st.sampled_from(EVERY_SPELLING)),
        "outcome": given_outcome,
        **boxes,
        "activity": draw(st.sampled_from(ACTIVITIES)),
        "event_type": draw(st.sampled_from(EVENT_TYPES)),
        "handling_related": draw(st.sampled_from((None, None, None, True, False))),
        "source_person": draw(st.sampled_from((None, True, False))),
        "privacy_case": draw(st.sampled_from((None, None, None, False, True))),
        "person_type": draw(st.sampled_from((None, None, None, "employee", "agency", "client"))),
        "row_status": draw(st.sampled_from((None, None, None, "active", "amended", "struck_out", "void"))),
        "version": draw(st.sampled_from((None, None, None, 1, 2))),
        "file_no": 1,
    }


@st.composite
def other_words(draw: st.DrawFn, row: Row) -> Row:
    """Cells of a row that mean the same, as another export may write them, and at times a box ticked otherwise."""
    found: dict[str, Any] = {}
    if "unit" in row:
        found["unit"] = draw(st.sampled_from(next(names for names in SPELLINGS.values() if row["unit"] in names)))
    if row.get("pay_code") and draw(st.booleans()):
        found["pay_code"] = row["pay_code"].swapcase()
    if row.get("tick_other") is not None and draw(st.integers(0, 3)) == 0:
        found["tick_other"] = not row["tick_other"]
    return found


@st.composite
def with_second_file(draw: st.DrawFn, rows: list[Row]) -> list[Row]:
    """The rows, at times with a second file that holds some of them again and some of its own."""
    if draw(st.integers(0, 4)):
        return rows
    own = [{**row, "file_no": 2} for row in rows if draw(st.integers(0, 3)) == 0]
    again = [{**row, **draw(other_words(row)), "file_no": 2} for row in rows if draw(st.integers(0, 2)) == 0]
    first = [row for row in rows if {**row, "file_no": 2} not in own]
    return [*first, *again, *own] if first else rows


@st.composite
def facilities(draw: st.DrawFn) -> Facility:
    program = draw(programs())
    training = draw(st.lists(completions(), min_size=3, max_size=10))
    units = draw(listed_units())
    turning = turning_days(training, units, program)
    hours = draw(st.lists(work(turning), min_size=12, max_size=30))
    hours += draw(st.lists(corrections(hours), max_size=3))
    hours += draw(loaded_twice(hours)) if draw(st.integers(0, 2)) == 0 else []
    log = draw(st.lists(cases(turning), min_size=8, max_size=24))
    if any((row["period_start"] is None) != (row["period_end"] is None) for row in hours):
        program = replace(program, start=program.start or FIRST_DAY, end=program.end or program.as_of)
    hours, log, training = (draw(with_second_file(rows)) for rows in (hours, log, training))
    return Facility(Files(hours, log, training, units), program)


def write(facility: Facility, folder: Path) -> Path:
    """The facility's files and program file in a folder; returns the program file."""
    files, program = facility.files, facility.program
    named: dict[str, list[str]] = {}
    for name, rows in (
        ("hours", files.hours),
        ("incidents", files.incidents),
        ("training", files.training),
        ("units", [{**row, "file_no": 1} for row in files.units]),
    ):
        for number in sorted({row["file_no"] for row in rows}):
            _write_rows(folder / f"{name}{number}.csv", [row for row in rows if row["file_no"] == number])
            named.setdefault(name, []).append(f"{name}{number}.csv")
    review = {
        "start": program.start,
        "end": program.end,
        "log_complete_through": program.log_complete_through,
        "hours_complete_through": program.hours_complete_through,
        "fiscal_year_start_month": program.fiscal_year_start_month,
    }
    training = {
        "qualifying_courses": json.dumps(program.qualifying_courses),
        "washout_days": program.washout_days,
        "refresher_months": program.refresher_months,
        "minimum_match_share": float(program.minimum_match_share),
    }
    codes = {"worked": json.dumps(WORKED), "not_worked": json.dumps(NOT_WORKED), "premium_only": json.dumps(PREMIUM)}
    lines = ["[files]", *(f"{name} = {json.dumps(listed)}" for name, listed in named.items())]
    for title, values in (("review", review), ("training", training), ("pay_codes", codes)):
        lines += [f"[{title}]", *(f"{name} = {value}" for name, value in values.items() if value is not None)]
    lines += ["[units.aliases]", *(f'"{theirs}" = "{ours}"' for theirs, ours in program.unit_aliases.items())]
    for day, old, new in program.unit_changes:
        named_units = (json.dumps(names, ensure_ascii=False) for names in (old, new))
        lines += ["[[units.changes]]", f"on = {day}", *(map(" = ".join, zip(("old", "new"), named_units, strict=True)))]
    path = folder / "program.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def _write_rows(path: Path, rows: Sequence[Row]) -> None:
    """Write rows as CSV without the columns that hold nothing, save those that a file must have."""
    names = [name for name in rows[0] if name != "file_no"]
    kept = [n for n in names if n in ("outcome", "work_date") or any(row[n] is not None for row in rows)]
    with path.open("w", encoding="utf-8", newline="") as stream:
        out = csv.writer(stream)
        out.writerow(kept)
        out.writerows([[_cell(row[name]) for name in kept] for row in rows])


def _cell(value: object) -> str:
    if value is None:
        return ""
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)
