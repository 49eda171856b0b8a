"""Facility aggregates read back: each file held to its format, all held to one set of definitions."""

from __future__ import annotations

import hashlib
import json
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from handling_review.evidence.aggregates import (
    AGGREGATE_PHASES,
    FILE,
    FORMAT,
    FORMAT_VERSION,
    TOGETHER,
    Aggregates,
    Cell,
)
from handling_review.evidence.quarters import stretches
from handling_review.evidence.tally import ALL_SERIES
from handling_review.problems import DataProblem, UsageProblem
from handling_review.visible import printable, readable, short

LARGEST_FILE = 64 * 1024 * 1024  # bytes; a facility of 40 units and ten years has about 5 MB
MOST_HOURS = 1e10  # of one facility; 100,000 people work two thousandths of it in a year
MOST_CASES = 1_000_000  # of one facility, phase and series
MOST_FACILITIES = 5_000
_LONGEST_NAME = 200
_QUARTER = re.compile(r"(FY)?\d{4}-Q[1-4]")
_NO_FILE = "this is no aggregates file of a facility"


@dataclass(frozen=True)
class Received:
    """One file: where it lay, the SHA-256 of its bytes, and what it holds."""

    path: Path
    sha256: str
    held: Aggregates


def read_all(paths: Sequence[Path]) -> tuple[Received, ...]:
    """All facilities, alphabetical by name.

    Each path is an output folder of ``build``, an aggregates file, or a folder of such files. Raises ``UsageProblem``
    where there are fewer than two facilities, ``DataProblem`` where a file cannot be used or two do not fit together.
    """
    listed = _files(paths)
    if len(listed) > MOST_FACILITIES:
        raise UsageProblem(f"combine takes at most {MOST_FACILITIES:,} files; {len(listed):,} found.")
    found = [_read(path) for path in listed]
    if len(found) < 2:
        raise UsageProblem(f"combine needs the aggregates of at least two facilities; {len(found)} found.")
    _refuse_twice(found)
    _refuse_unlike(found)
    return tuple(sorted(found, key=lambda one: (one.held.facility.casefold(), one.held.facility)))


def _files(paths: Iterable[Path]) -> list[Path]:
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = [path / FILE] if (path / FILE).is_file() else sorted(path.glob("*.json"))
            inside = [one for one in inside if one.name != "manifest.json"]
            if not inside:
                raise DataProblem(
                    f"{path}: no {FILE} here. Build the facility's review with this version, or name its aggregates "
                    f"file."
                )
            found += inside
        elif path.is_file():
            found.append(path)
        else:
            raise DataProblem(f"{path}: there is no such file or folder.")
    return list(dict.fromkeys(one.resolve() for one in found))


def _read(path: Path) -> Received:
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise DataProblem(f"{path}: larger than {LARGEST_FILE // 2**20} MB, which no facility's aggregates are.")
        content = path.read_bytes()
    except OSError as error:
        raise DataProblem(f"{path}: cannot be read ({error.strerror}).") from None
    try:
        told = json.loads(content.decode("utf-8"), parse_constant=_no_number)
    except (UnicodeDecodeError, RecursionError):
        raise DataProblem(f"{path}: {_NO_FILE}.") from None
    except json.JSONDecodeError as error:
        where = f"{path}, line {error.lineno}"
        raise DataProblem(f"{where}: not whole ({error.msg}). Ask the facility for it again.") from None
    except ValueError as error:  # NaN, Infinity, or a number of thousands of digits
        raise _damaged(path, error) from None
    if not isinstance(told, dict) or told.get("format") != FORMAT:
        raise DataProblem(f"{path}: {_NO_FILE}.")
    if told.get("format_version") != FORMAT_VERSION:
        raise DataProblem(
            f"{path}: format version {_quoted(told.get('format_version'))}; this version reads {FORMAT_VERSION}. "
            "Build both with the same version of handling-review."
        )
    try:
        held = _held(told)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise _damaged(path, error) from None
    return Received(path, hashlib.sha256(content).hexdigest(), held)


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _damaged(path: Path, error: Exception) -> DataProblem:
    what = f"no {error.args[0]!r}" if isinstance(error, KeyError) else printable(str(error))
    return DataProblem(f"{path}: damaged ({what}). Ask the facility for it again.")


def _quoted(value: Any) -> str:
    """A value of the file as a short quotation."""
    text = repr(value) if not isinstance(value, int) or abs(value) < 10**15 else "a huge number"
    return short(text, 60)


def _held(told: dict[str, Any]) -> Aggregates:
    rules = _mapping(told["definitions"])
    found = Aggregates(
        facility=_name(told["facility"]),
        run_id=_text(told["run_id"]),
        as_of=_day(told["as_of"]),
        start=_day(told["period_start"]),
        end=_day(told["period_end"]),
        tool_version=_text(told["tool_version"]),
        series=_one_of(rules["series"], ALL_SERIES),
        washout_days=_count(rules["washout_days"], 10_000),
        refresher_months=None if rules["refresher_months"] is None else _count(rules["refresher_months"], 10_000),
        few_below=_count(rules["small_cells_below"], 1_000),
        confidence=_level(rules["confidence"]),
        quarters=tuple(_quarter(quarter) for quarter in _list(told["quarters"])),
        cells=tuple(_cell(row) for row in _list(told["cells"])),
    )
    _refuse_impossible(found)
    return found


def _cell(row: Any) -> Cell:
    if not isinstance(row, list) or len(row) != 6:
        raise ValueError(f"a cell has six entries, found {_quoted(row)}")
    series, quarter, unit, phase, events, hours = row
    if isinstance(hours, bool) or not isinstance(hours, int | float) or not 0 <= hours <= MOST_HOURS:
        raise ValueError(f"hours must be 0 or more and no more than people can work, found {_quoted(hours)}")
    return Cell(
        _one_of(series, ALL_SERIES),
        quarter if quarter == TOGETHER else _quarter(quarter),
        _text(unit),
        _one_of(phase, AGGREGATE_PHASES),
        _count(events, MOST_CASES),
        float(hours),
    )


def _refuse_impossible(found: Aggregates) -> None:
    """What no build writes: a cell twice, a quarter that is not listed, kinds larger than the kind they are part of."""
    if found.start > found.end:
        raise ValueError("the period ends before it starts")
    if not found.cells:
        raise ValueError("no cell")
    seen: set[tuple[str, str, str, str]] = set()
    sums: dict[str, dict[str, tuple[int, float]]] = defaultdict(dict)
    for cell in found.cells:
        place = (cell.series, cell.quarter, cell.unit, cell.phase)
        if place in seen:
            raise ValueError(f"the cell {_quoted(list(place))} stands there twice")
        seen.add(place)
        if cell.quarter != TOGETHER and cell.quarter not in found.quarters:
            raise ValueError(f"a cell of {cell.quarter}, which is not among the quarters")
        events, hours = sums[cell.phase].get(cell.series, (0, 0.0))
        sums[cell.phase][cell.series] = (events + cell.events, hours + cell.hours)
    for phase, by_series in sums.items():
        _refuse_unlike_kinds(phase, [by_series.get(series, (0, 0.0)) for series in ALL_SERIES], len(found.cells))


def _refuse_unlike_kinds(phase: str, sums: Sequence[tuple[int, float]], cells: int) -> None:
    """``sums``: cases and hours of one phase, in the order of ``ALL_SERIES``."""
    n = dict(zip(ALL_SERIES, (events for events, _ in sums), strict=True))
    hours = [worked for _, worked in sums]
    if not (n["days_away"] <= n["dart"] <= n["recordable"] >= n["handling"] + n["non_handling"]):
        raise ValueError(f"phase {phase}: more cases of a kind than of the kind that holds it")
    if max(n.values()) > MOST_CASES or max(hours) > MOST_HOURS:
        raise ValueError(f"phase {phase}: more cases or hours than a facility can have")
    if max(hours) - min(hours) > 1e-3 * cells:
        raise ValueError(f"phase {phase}: the hours are not the same for every kind of case")


def _mapping(value: Any) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise ValueError(f"named values were expected, found {_quoted(value)}")
    return value


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise ValueError(f"a list was expected, found {_quoted(value)}")
    return value


def _text(value: Any) -> str:
    if not isinstance(value, str) or not printable(value).strip():
        raise ValueError(f"a text was expected, found {_quoted(value)}")
    return readable(value)


def _name(value: Any) -> str:
    text = _text(value).strip()
    if len(text) > _LONGEST_NAME:
        raise ValueError(f"a name of at most {_LONGEST_NAME} letters was expected, found {_quoted(value)}")
    return text


def _quarter(value: Any) -> str:
    if not isinstance(value, str) or not _QUARTER.fullmatch(value):
        raise ValueError(f"a quarter such as 2025-Q3 was expected, found {_quoted(value)}")
    return value


def _day(value: Any) -> date:
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        raise ValueError(f"a day such as 2026-06-30 was expected, found {_quoted(value)}") from None


def _level(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.5 <= value < 1:
        raise ValueError(f"a confidence such as 0.95 was expected, found {_quoted(value)}")
    return float(value)


def _count(value: Any, most: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= most:
        raise ValueError(f"a count from 0 to {most:,} was expected, found {_quoted(value)}")
    return value


def _one_of(value: Any, known: Sequence[str]) -> str:
    if not isinstance(value, str) or value not in known:
        raise ValueError(f"one of {', '.join(known)} was expected, found {_quoted(value)}")
    return value


def _refuse_twice(found: Sequence[Received]) -> None:
    by_name: dict[str, list[Path]] = defaultdict(list)
    for one in found:
        by_name[" ".join(printable(one.held.facility).casefold().split())].append(one.path)
    for paths in by_name.values():
        if len(paths) > 1:
            raise DataProblem(
                f"{paths[0]} and {paths[1]}: both are of the same facility. Give one file a facility, the latest."
            )


def _refuse_unlike(found: Sequence[Received]) -> None:
    """Rates of other injuries, other days or another waiting time do not go into one ratio."""
    told: dict[str, Callable[[Aggregates], str]] = {
        "series ([analysis] series)": lambda held: held.series,
        "washout ([training] washout_days)": lambda held: f"{held.washout_days} days",
        "first day ([review] start)": lambda held: held.start.isoformat(),
        "last day ([review] end)": lambda held: held.end.isoformat(),
        "complete quarters": lambda held: _quarters(held.quarters),
        "range ([analysis] confidence)": lambda held: f"{held.confidence:g}",
    }
    faults = []
    for what, read in told.items():
        by_value: dict[str, list[str]] = defaultdict(list)
        for one in found:
            by_value[read(one.held)].append(one.held.facility)
        if len(by_value) > 1:
            listed = "; ".join(
                f"{value} in {', '.join(names[:3])}{f' and {len(names) - 3} more' if len(names) > 3 else ''}"
                for value, names in sorted(by_value.items())
            )
            faults.append(f"The facilities differ in the {what}: {listed}.")
    if faults:
        how = (
            "State the same in each program file (for quarters: end the period with the last one that all have "
            "complete, and fill gaps), build again, then combine."
        )
        raise DataProblem("\n".join([*faults, how]))


def _quarters(quarters: Sequence[str]) -> str:
    """Quarters as stretches without a gap."""
    return ", ".join(stretches(quarters)) or "none"
