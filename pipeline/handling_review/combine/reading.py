"""Facility aggregates read back: each file held to its format, all held to one set of definitions."""

from __future__ import annotations

import hashlib
import json
import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from handling_review.evidence.aggregates import FILE, FORMAT, FORMAT_VERSION, Aggregates, Cell
from handling_review.evidence.tally import ALL_SERIES, PHASES
from handling_review.problems import DataProblem, UsageProblem

LARGEST_FILE = 64 * 1024 * 1024  # bytes; a facility of 40 units and ten years has about 5 MB
_SIDES = ("before", "after", "none")


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
    found = [_read(path) for path in _files(paths)]
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
        told = json.loads(content.decode("utf-8"))
    except (UnicodeDecodeError, RecursionError):
        raise DataProblem(f"{path}: this is no aggregates file of a facility.") from None
    except json.JSONDecodeError as error:
        where = f"{path}, line {error.lineno}"
        raise DataProblem(f"{where}: not whole ({error.msg}). Ask the facility for it again.") from None
    if not isinstance(told, dict) or told.get("format") != FORMAT:
        raise DataProblem(f"{path}: this is no aggregates file of a facility.")
    if told.get("format_version") != FORMAT_VERSION:
        raise DataProblem(
            f"{path}: format version {told.get('format_version')!r}; this version reads {FORMAT_VERSION}. "
            "Build both with the same version of handling-review."
        )
    return Received(path, hashlib.sha256(content).hexdigest(), _held(path, told))


def _held(path: Path, told: dict[str, Any]) -> Aggregates:
    try:
        rules = told["definitions"]
        return Aggregates(
            facility=_text(told["facility"]),
            run_id=_text(told["run_id"]),
            as_of=date.fromisoformat(told["as_of"]),
            start=date.fromisoformat(told["period_start"]),
            end=date.fromisoformat(told["period_end"]),
            tool_version=_text(told["tool_version"]),
            series=_one_of(rules["series"], ALL_SERIES),
            washout_days=_count(rules["washout_days"]),
            refresher_months=None if rules["refresher_months"] is None else _count(rules["refresher_months"]),
            few_below=_count(rules["small_cells_below"]),
            confidence=float(rules["confidence"]),
            quarters=tuple(_text(quarter) for quarter in told["quarters"]),
            cells=tuple(_cell(row) for row in told["cells"]),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        what = f"no {error.args[0]!r}" if isinstance(error, KeyError) else str(error)
        raise DataProblem(f"{path}: damaged ({what}). Ask the facility for it again.") from None


def _cell(row: Any) -> Cell:
    series, quarter, unit, phase, side, events, hours = row
    if isinstance(hours, bool) or not isinstance(hours, int | float) or not 0 <= hours < math.inf:
        raise ValueError(f"hours must be 0 or more, found {hours!r}")
    if events and not hours:
        raise ValueError("a cell with cases and no hours")
    return Cell(
        _one_of(series, ALL_SERIES), _text(quarter), _text(unit), _one_of(phase, PHASES), _one_of(side, _SIDES),
        _count(events), float(hours),
    )  # fmt: skip


def _text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError(f"a text was expected, found {value!r}")
    return value


def _count(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise ValueError(f"a count was expected, found {value!r}")
    return value


def _one_of(value: Any, known: Sequence[str]) -> str:
    if value not in known:
        raise ValueError(f"one of {', '.join(known)} was expected, found {value!r}")
    return str(value)


def _refuse_twice(found: Sequence[Received]) -> None:
    by_name: dict[str, list[Path]] = defaultdict(list)
    for one in found:
        by_name[one.held.facility.casefold()].append(one.path)
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
        raise DataProblem("\n".join([*faults, "State the same in each program file, build again, then combine."]))
