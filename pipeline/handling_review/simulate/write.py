"""Writes a made-up facility as the files that a facility would export, with its program file and its truth."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl

from handling_review.problems import ReviewProblem
from handling_review.simulate.facility import Facility, id_texts
from handling_review.simulate.mess import PAYROLL_DAY, Edit
from handling_review.simulate.people import FTE, FTE_SHARE, pay, people, person_periods
from handling_review.simulate.plan import Plan
from handling_review.simulate.program_file import HEADERS, program_text

FILES = (
    "incidents",
    "hours",
    "training",
    "units",
    "equipment",
    "observations",
    "exposure",
    "events",
    "annual_totals",
    "reference_rates",
)
SOURCE_WORDS = {"payroll": "PAYROLL", "agency": "AP"}
SHIFT_COLUMNS = ("employee_id", "unit", "work_date", "hours")
SHIFT_HUNDREDTHS = 800  # the usual shift
ROWS_EXCESS = 0.01  # part of the rows that may be cut off at the end; a post more or less always fits in


def write(facility: Facility, folder: Path, *, shift_rows: int | None = None) -> None:
    """Write every file into ``folder`` (made if missing), the same bytes for the same plan.

    With ``shift_rows`` the hours are one row a shift, so many of them, in place of one row a pay period; the truth then
    holds for the totals of each person and period, and for phases up to the days on which shifts fall.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for name in FILES:
        target = folder / f"{name}.csv"
        if name == "hours" and shift_rows is not None:
            write_hours(facility.plan, target, rows=shift_rows)
            continue
        edits = [edit for edit in facility.edits if edit.file == name]
        text = _edited(_texts(name, getattr(facility, name)), edits)
        if name == "hours":
            text = text.with_columns(pl.col("source").replace(SOURCE_WORDS))
            text = text.select(pl.col(column).alias(theirs) for column, theirs in HEADERS.items())
        body = text.write_csv(line_terminator="\n", quote_style="necessary")
        target.write_bytes(body.encode("cp1252" if name == "incidents" else "utf-8"))
    by_shift = shift_rows is not None
    (folder / "program.toml").write_bytes(program_text(facility.plan, by_shift=by_shift).encode("utf-8"))
    truth = json.dumps(facility.truth, indent=1, ensure_ascii=False)
    (folder / "truth.json").write_bytes((truth + "\n").encode("utf-8"))


def _texts(name: str, frame: pl.DataFrame) -> pl.DataFrame:
    """The frame as the texts to write: month/day/year in the payroll file, year-month-day elsewhere."""
    day = PAYROLL_DAY if name == "hours" else "%Y-%m-%d"
    kinds = {
        column: pl.col(column).dt.strftime(day)
        if kind == pl.Date
        else pl.format("{}", pl.col(column).cast(pl.Decimal(18, 2)))
        if name == "hours" and column == "hours"
        else pl.col(column).cast(pl.String)
        for column, kind in frame.schema.items()
    }
    return frame.select(expression.alias(column) for column, expression in kinds.items())


def _edited(text: pl.DataFrame, edits: Iterable[Edit]) -> pl.DataFrame:
    """The texts with cells changed and rows added at the end."""
    changed: dict[str, dict[int, str]] = {}
    added: list[dict[str, str | None]] = []
    for edit in edits:
        for row, cells in edit.cells.items():
            for column, value in cells.items():
                changed.setdefault(column, {})[row] = value
        if edit.append is not None:
            added.append({column: edit.append.get(column) or None for column in text.columns})
    for column, by_row in changed.items():
        values = text[column].to_list()
        for row, value in by_row.items():
            values[row] = value
        text = text.with_columns(pl.Series(column, values, dtype=pl.String))
    if not added:
        return text
    return pl.concat([text, pl.DataFrame(added, schema=text.schema)])


def plan_for_rows(plan: Plan, rows: int) -> Plan:
    """The plan with so many posts that its shifts just fill ``rows`` rows of a shift-level hours file.

    Counts the shifts and adjusts the posts, so that little is cut off. Two posts a unit are the least.
    """
    hours = float(FTE @ FTE_SHARE) * 80 / 14 * plan.period_days
    least = 2 * len(plan.units)
    found = replace(plan, staff=max(least, round(rows * SHIFT_HUNDREDTHS / 100 / hours / plan.periods)))
    for _ in range(20):
        shifts = _count_shifts(found)
        if shifts >= rows and (shifts <= rows * (1 + ROWS_EXCESS) or found.staff == least):
            return found
        wanted = int(np.ceil(found.staff * rows * (1 + ROWS_EXCESS / 2) / shifts))
        if wanted == found.staff:
            wanted += 1 if shifts < rows else -1
        found = replace(found, staff=max(least, wanted))
    while _count_shifts(found) < rows:  # so few rows that one post is more than the excess allowed
        found = replace(found, staff=found.staff + 1)
    return found


def _count_shifts(plan: Plan) -> int:
    staff = people(plan)
    periods = person_periods(staff)
    counted = (_shifts(plan, pay(plan, staff, periods, block).worked) for block in range(periods.blocks))
    return sum(int(shifts.sum()) for shifts in counted)


def _shifts(plan: Plan, worked: np.ndarray) -> np.ndarray:
    """Shifts in a pay period for hours worked, in hundredths."""
    found: np.ndarray = np.clip(np.rint(worked / SHIFT_HUNDREDTHS), 1, plan.period_days).astype(np.int64)
    return found


def write_hours(plan: Plan, path: Path, rows: int | None = None) -> int:
    """Write the hours one row a shift, in blocks, in bounded memory. Returns the number of rows written.

    Canonical columns ``employee_id, unit, work_date, hours``; people, units and hours of each pay period are those of
    ``simulate(plan)``. With ``rows`` the plan is first given the posts it takes (``plan_for_rows``) and the file ends
    after so many rows. Agency hours and hours not worked are left out.

    Raises ``ReviewProblem`` if the plan yields fewer rows than asked.
    """
    if rows is not None:
        plan = plan_for_rows(plan, rows)
    written = 0
    with path.open("wb") as out:
        out.write((",".join(SHIFT_COLUMNS) + "\n").encode("ascii"))
        for block in _shift_blocks(plan):
            kept = block if rows is None else block.head(rows - written)
            kept.write_csv(out, include_header=False, line_terminator="\n")
            written += kept.height
            if rows is not None and written >= rows:
                return written
    if rows is not None:
        raise ReviewProblem(f"The plan yields {written:,} shifts, fewer than the {rows:,} rows asked for.")
    return written


def _shift_blocks(plan: Plan) -> Iterator[pl.DataFrame]:
    staff = people(plan)
    periods = person_periods(staff)
    ids, units = id_texts(staff), pl.Series([u.unit for u in plan.units])
    for block in range(periods.blocks):
        stint, period = periods.block(block)
        quarters = pay(plan, staff, periods, block).worked // 25
        shifts = _shifts(plan, quarters * 25)
        row = np.repeat(np.arange(len(stint)), shifts)
        place = np.arange(len(row)) - np.repeat(np.cumsum(shifts) - shifts, shifts)
        each, left = np.divmod(quarters, shifts)
        hundredths = (each[row] + (place < left[row])) * 25
        turn = plan.generator("shifts", block).integers(0, plan.period_days, len(stint))
        within = (place * plan.period_days // shifts[row] + turn[row]) % plan.period_days
        day = np.datetime64(plan.first_period, "D") + (period[row] * plan.period_days + within).astype("timedelta64[D]")
        yield pl.DataFrame(
            {
                "employee_id": ids.gather(staff.person[stint[row]]),
                "unit": units.gather(staff.unit[stint[row]]),
                "work_date": day,
                "hours": pl.Series(hundredths / 100).cast(pl.Decimal(18, 2)),
            }
        )
