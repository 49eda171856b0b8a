"""One thing wrong in the hand facility, and everything that must come out of it.

A trap that says nothing but its change must change nothing: same hours, same cases, same rows, no finding.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from handling_review import review
from handling_review.findings import Finding, suggestions
from handling_review.problems import DataProblem
from handling_review.program import read_program
from whole import facility

Files = Mapping[str, str | bytes]
I, H, T = facility.INCIDENTS, facility.HOURS, facility.TRAINING  # noqa: E741 - the three files of every table


@dataclass(frozen=True)
class Trap:
    """``change``: files that differ. ``program``: tables put behind the program file; ``swap``: its texts replaced.

    ``finds``: every finding, as "rule @ line"; ``says``: words of them; ``suggests``: lines to paste. ``rows``: rows by
    rule of the files that differ from all rows used. ``hours`` and ``events``: sums over the cells that have all words
    of the key (a unit, quarter, phase, "live:after", "lapsed"; for events also a series). Where neither is given,
    every cell is as in the untouched facility; where one is, the other is the same in every unit and quarter.
    ``incomplete``: quarters with a reason. ``refused``: words of the problem, where no review is possible at all.
    """

    change: Files = field(default_factory=dict)
    program: str = ""
    swap: Mapping[str, str] = field(default_factory=dict)
    finds: tuple[str, ...] = ()
    says: tuple[str, ...] = ()
    suggests: tuple[str, ...] = ()
    rows: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    hours: Mapping[str, float] | None = None
    events: Mapping[str, int] | None = None
    incomplete: Mapping[str, str] = field(default_factory=dict)
    refused: tuple[str, ...] = ()


@dataclass(frozen=True)
class Seen:
    """What the review made of the files."""

    findings: tuple[Finding, ...]
    rows: Mapping[str, Mapping[str, int]]
    rows_in: Mapping[str, int]
    cells: pd.DataFrame
    quarters: Mapping[str, str]
    database: bytes


def program_text(trap: Trap) -> str:
    text: str = facility.PROGRAM
    for old, new in trap.swap.items():
        assert old in text, f"{old!r} is not in the program file"
        text = text.replace(old, new)
    return text + trap.program


def look(trap: Trap, folder: Path) -> Seen:
    program = read_program(facility.write(folder / "files", **{"program": program_text(trap), **trap.change}))
    assert program.review.as_of is not None
    (folder / "work").mkdir()
    found = review.measured(program, program.review.as_of, folder / "work")
    rows: dict[str, dict[str, int]] = {}
    for file, rule, count in found.tables["accounting"][["file", "rule", "rows"]].itertuples(index=False):
        rows.setdefault(file, {})[rule] = int(count)
    inputs = found.tables["inputs"].groupby("file")["rows"].sum()
    quarters = found.tables["quarters"].set_index("quarter")["reason"]
    return Seen(
        findings=found.findings,
        rows=rows,
        rows_in={str(name): int(count) for name, count in inputs.items()},
        cells=found.tables["person_time"],
        quarters={str(name): str(reason) for name, reason in quarters.items()},
        database=(folder / "work" / "review.duckdb").read_bytes(),
    )


@cache
def untouched() -> Seen:
    with tempfile.TemporaryDirectory() as folder:
        return look(Trap(), Path(folder))


def words_of(cell: Mapping[Any, Any]) -> set[str]:
    words = {str(cell[name]) for name in ("quarter", "phase", "series")} | {f"live:{cell['go_live_phase']}"}
    return words | set(str(cell["unit"]).split()) | ({"lapsed"} if cell["lapsed"] else set())


def total(cells: pd.DataFrame, key: str, column: str) -> float:
    """Sum over the cells that have all words of the key; hours stand once on each of the series."""
    records = cells.to_dict("records")
    if column == "hours":
        records = [cell for cell in records if cell["series"] == "recordable"]
    return float(sum(cell[column] for cell in records if set(key.split()) <= words_of(cell)))


def sums(cells: pd.DataFrame, keys: list[str], column: str) -> dict[tuple[object, ...], float]:
    """Sum of a column by cell, cells of nothing left out."""
    found: dict[tuple[object, ...], float] = {}
    for cell in cells.to_dict("records"):
        if cell[column]:
            key = tuple(cell[name] for name in keys)
            found[key] = found.get(key, 0.0) + float(cell[column])
    return found


def hold(trap: Trap, folder: Path) -> None:
    """Check everything that the trap says, and that nothing else changed."""
    if trap.refused:
        with pytest.raises(DataProblem) as problem:
            look(trap, folder)
        for words in trap.refused:
            assert words in str(problem.value)
        return
    seen, clean = look(trap, folder), untouched()
    assert sorted(f"{f.rule} @ {f.line}" for f in seen.findings) == sorted(trap.finds)
    sentences = "\n".join(f.sentence() for f in seen.findings)
    for words in trap.says:
        assert words in sentences
    for words in trap.suggests:
        assert words in suggestions(seen.findings)
    for file, rows in seen.rows.items():
        assert sum(rows.values()) == seen.rows_in[file], "rows in = used + set aside + excluded"
        assert rows == trap.rows.get(file, {"used": seen.rows_in[file]})
    assert set(trap.rows) <= set(seen.rows)
    keys = ["quarter", "unit", "series"]
    if trap.hours is None and trap.events is None:
        keys += ["phase", "go_live_phase", "lapsed"]
    for wanted, column in ((trap.hours, "hours"), (trap.events, "events")):
        if wanted is None:
            assert sums(seen.cells, keys, column) == pytest.approx(sums(clean.cells, keys, column), abs=1e-6)
        for key, value in (wanted or {}).items():
            assert total(seen.cells, key, column) == pytest.approx(value, abs=1e-6), f"{column} of {key or 'all'}"
    assert {quarter: reason for quarter, reason in seen.quarters.items() if reason} == dict(trap.incomplete)


def with_column(text: str, name: str, values: str | list[str]) -> str:
    """The table with one more column at the right; one value for all rows, or one a row."""
    lines = text.splitlines()
    listed = [values] * (len(lines) - 1) if isinstance(values, str) else values
    body = [f"{line},{value}" for line, value in zip(lines[1:], listed, strict=True)]
    return "\n".join([f"{lines[0]},{name}", *body]) + "\n"


def files_list(name: str, *names: str) -> dict[str, str]:
    """Swap in the program file: several exports of one kind."""
    listed = ", ".join(f'"{one}.csv"' for one in names)
    return {f'{name} = "{name}.csv"': f"{name} = [{listed}]"}


def and_file(name: str) -> dict[str, str]:
    """Swap in the program file: one more file."""
    return {'training = "training.csv"': f'training = "training.csv"\n{name} = "{name}.csv"'}
