"""A small amount of honest mess: what is wrong in the written files, and what should become of each item."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import polars as pl

from handling_review.simulate.plan import HANDS_ON, PHASES, UNKNOWN, Plan

PAYROLL_DAY = "%m/%d/%Y"  # how the hours file writes a date


@dataclass(frozen=True)
class Edit:
    """A change to one written file: cells of existing rows (``cells``), or a row put at the end (``append``).

    ``cells`` maps row number (from 0) to column and text; ``append`` maps column to text.
    """

    file: str
    cells: dict[int, dict[str, str]] = field(default_factory=dict)
    append: dict[str, str] | None = None


@dataclass
class _Planter:
    """Collects edits with their notes; line 1 is the header, appended rows come last."""

    edits: list[Edit]
    notes: list[dict[str, Any]]
    size: dict[str, int]

    def note(self, file: str, lines: list[int], column: str, planted: str, becomes: str) -> None:
        shown = sorted(lines)
        self.notes.append(
            {
                "file": f"{file}.csv",
                "rows": len(shown),
                "first_lines": shown[:5],
                "column": column,
                "planted": planted,
                "becomes": becomes,
            }
        )

    def cells(self, file: str, cells: dict[int, dict[str, str]], planted: str, becomes: str) -> None:
        self.edits.append(Edit(file, cells=cells))
        columns = sorted({column for row in cells.values() for column in row})
        self.note(file, [row + 2 for row in cells], ", ".join(columns), planted, becomes)

    def append(self, file: str, rows: list[dict[str, str]], column: str, planted: str, becomes: str) -> None:
        lines = []
        for row in rows:
            self.edits.append(Edit(file, append=row))
            self.size[file] += 1
            lines.append(self.size[file] + 1)
        self.note(file, lines, column, planted, becomes)


def planted(
    plan: Plan, log: pl.DataFrame, hours: pl.DataFrame, training: pl.DataFrame, totals: pl.DataFrame
) -> tuple[tuple[Edit, ...], list[dict[str, Any]]]:
    """Edits to the written files and, for each item, what should become of it. Items with no fit row are left out."""
    planter = _Planter(
        edits=[],
        notes=[],
        size={"incidents": log.height, "hours": hours.height, "training": training.height},
    )
    _in_the_log(plan, planter, log)
    _in_the_training(plan, planter, training)
    _in_the_hours(plan, planter, hours)
    _in_the_totals(planter, totals)
    return tuple(planter.edits), planter.notes


def _text(row: dict[str, Any], day: str = "%Y-%m-%d") -> dict[str, str]:
    """The row as texts, dates in the style of its file."""
    return {
        name: "" if value is None else value.strftime(day) if isinstance(value, date) else str(value)
        for name, value in row.items()
    }


def _in_the_log(plan: Plan, planter: _Planter, log: pl.DataFrame) -> None:
    used: set[int] = set()
    rows = log.with_row_index("row")

    def find(what: pl.Expr, number: int = 1) -> list[dict[str, Any]]:
        """Free rows of one kind, from the middle of the log on."""
        free = rows.filter(what & ~pl.col("row").is_in(list(used)))
        kept = free.tail(-(free.height // 2)).head(number).to_dicts()
        used.update(row["row"] for row in kept)
        return kept

    aide = (pl.col("job_title") == "Nurse aide") & (pl.col("outcome") != "near_miss")
    first_aid = pl.col("outcome") == "first_aid"
    plain: list[tuple[pl.Expr, Callable[[dict[str, Any]], dict[str, str]], str, str]] = [
        (
            aide,
            lambda row: {"job_title": "Nurse’s aide"},
            "a curly apostrophe as the single byte 0x92 of Windows-1252, so that the file is not valid UTF-8",
            "the file is read as Windows-1252 and this is said; the row is used",
        ),
        (
            (pl.col("outcome") == "days_away") & (pl.col("true_series") == "handling"),
            lambda row: {"days_away": "214", "days_restricted": "0"},
            "more than 180 days away",
            "the row is used, flagged, and counted as 180 days in sums",
        ),
        (
            first_aid,
            lambda row: {"event_date": f"{row['event_date'].year}-02-30"},
            "a date that is no day of the calendar",
            "the row is set aside: an injury without a readable date belongs to no quarter",
        ),
        (
            first_aid,
            lambda row: {"days_away": "3"},
            "a first-aid case with days away, which contradict each other",
            "a finding; the outcome as recorded is used until it is put right",
        ),
        (
            first_aid,
            lambda row: {"reported_date": str(row["event_date"] - timedelta(days=1))},
            "reported the day before it happened",
            "a finding; the row is used and left out of reporting delays",
        ),
    ]
    for what, change, said, becomes in plain:
        if found := find(what):
            planter.cells("incidents", {found[0]["row"]: change(found[0])}, said, becomes)
            if "set aside" in becomes:
                phase = UNKNOWN if found[0]["employee_id"] is None else found[0]["true_phase"]
                planter.notes[-1]["log_change"] = {"first_aid": {PHASES[phase]: -1}}
    _repeated_number(planter, find)
    for unit in plan.units:
        if unit.alias and (spelled := find(pl.col("unit") == unit.unit, 3)):
            planter.cells(
                "incidents",
                {row["row"]: {"unit": unit.alias} for row in spelled},
                f"{unit.unit} spelled {unit.alias}",
                "joined to its unit through the alias table",
            )
    _after_the_review(plan, planter, log, find)


def _after_the_review(
    plan: Plan, planter: _Planter, log: pl.DataFrame, find: Callable[..., list[dict[str, Any]]]
) -> None:
    """A recordable case dated after the last day of the review."""
    if late := find(pl.col("outcome") == "other_recordable"):
        day = plan.end + timedelta(days=3)
        names = [name for name in log.columns if not name.startswith("true_")]
        row = {name: late[0][name] for name in names} | {"case_number": "900", "event_date": day}
        row |= {"reported_date": day, "claim_cost": None, "cost_as_of": None, "employee_id": None}
        planter.append(
            "incidents",
            [_text(row)],
            "event_date",
            "a case after the last day of the review",
            "excluded by the review period, and counted as such",
        )


def _repeated_number(planter: _Planter, find: Callable[..., list[dict[str, Any]]]) -> None:
    """Two first-aid cases of one year under one number."""
    for one, two in pairwise(find(pl.col("outcome") == "first_aid", 8)):
        if one["event_date"].year == two["event_date"].year and one["event_date"] != two["event_date"]:
            planter.cells(
                "incidents",
                {two["row"]: {"case_number": one["case_number"]}},
                f"a case number given twice in one year, first on line {one['row'] + 2}",
                "a finding; they are two events (other day and unit or job), so neither is dropped unseen",
            )
            return


def _in_the_training(plan: Plan, planter: _Planter, training: pl.DataFrame) -> None:
    passed = training.filter((pl.col("course") == HANDS_ON) & (pl.col("status") == "passed"))
    if passed.height >= 2:
        once, again = passed.row(passed.height // 3, named=True), passed.row(passed.height // 2, named=True)
        later = once["completed_on"] + timedelta(days=12)
        retake = once | {"completed_on": later, "expires_on": later + timedelta(days=730)}
        planter.append(
            "training",
            [_text(retake)],
            "completed_on",
            "the same class passed again twelve days later",
            "collapses to the first pass for the trained-from date",
        )
        planter.append(
            "training",
            [_text(again)],
            "all",
            "an exact copy of an earlier row",
            "counted once",
        )
    missed = training.filter((pl.col("course") == HANDS_ON) & (pl.col("status") == "enrolled"))
    if missed.height:
        row = missed.row(0, named=True) | {"completed_on": plan.as_of + timedelta(days=225), "status": "completed"}
        planter.append(
            "training",
            [_text(row)],
            "completed_on",
            "a completion dated after the export",
            "a finding; the row is set aside and the person stays untrained",
        )
    stranger = {
        "employee_id": "990017",
        "course": HANDS_ON,
        "completed_on": str(plan.start + timedelta(days=500)),
        "status": "passed",
        "expires_on": "",
        "kind": "hands_on",
        "competency": "yes",
    }
    planter.append(
        "training",
        [stranger],
        "employee_id",
        "an id that is in no other file",
        "unknown, not untrained; lowers the printed match rate",
    )


def _in_the_hours(plan: Plan, planter: _Planter, hours: pl.DataFrame) -> None:
    if not hours.height:
        return
    rows = hours.with_row_index("row")
    for unit in plan.units:
        if unit.former_name and unit.renamed_on:
            old = rows.filter((pl.col("unit") == unit.unit) & (pl.col("period_end") <= unit.renamed_on))
            if old.height:
                planter.cells(
                    "hours",
                    {row: {"unit": unit.former_name} for row in old["row"].to_list()},
                    f"{unit.unit} under its former name {unit.former_name} up to {unit.renamed_on}",
                    "joined to its unit through the alias table",
                )
    regular = rows.filter((pl.col("pay_code") == "REG") & (pl.col("hours") > 40))
    if regular.height:
        row = regular.row(regular.height // 2, named=True)
        planter.cells(
            "hours",
            {row["row"]: {"hours": f"{row['hours'] + 8:.2f}"}},
            "eight hours too many, taken back by a row of -8.00 for the same person, unit and period",
            "the two rows net to the hours worked",
        )
        back = {name: row[name] for name in hours.columns} | {"hours": "-8.00"}
        planter.append(
            "hours", [_text(back, PAYROLL_DAY)], "hours", "the row of -8.00", "nets with the row above it in time"
        )
    total = hours["hours"].sum()
    planter.append(
        "hours",
        [{"employee_id": "Grand Total", "hours": f"{total:.2f}"}],
        "employee_id",
        "a totals row at the foot",
        "excluded and used as a checksum: it equals the sum of all other rows",
    )
    for code, planted_text, becomes in (
        ("PTO", "paid time off, which is not worked", "excluded by the pay-code map"),
        ("SICK", "sick leave, which is not worked", "excluded by the pay-code map"),
        ("OTP", "overtime premium that repeats hours of an OT row", "excluded by the pay-code map as premium only"),
    ):
        lines = [row + 2 for row in rows.filter(pl.col("pay_code") == code)["row"].to_list()]
        planter.note("hours", lines, "pay_code", planted_text, becomes)


def _in_the_totals(planter: _Planter, totals: pl.DataFrame) -> None:
    if not totals.height:
        return
    row = totals.height // 2
    one = totals.row(row, named=True)
    planter.cells(
        "annual_totals",
        {row: {"other_cases": str(one["other_cases"] + 1)}},
        f"the posted summary of {one['year']} has one other recordable case more than the log",
        "the reconciliation shows a difference of one case in that year",
    )
