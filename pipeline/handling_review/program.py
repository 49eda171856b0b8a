"""The program file (TOML) read into settings: unknown keys refused with the nearest known one."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from handling_review.problems import ProgramProblem
from handling_review.settings import (
    DATE_ORDERS,
    DESIGNS,
    FILE_NAMES,
    HOURS_AS,
    PERSON_TYPES,
    REQUIRED_FILES,
    SERIES,
    Analysis,
    Charts,
    Facility,
    HoursRule,
    Ids,
    IncidentRule,
    PayCodes,
    Period,
    Program,
    Thresholds,
    Training,
    UnitChange,
)

__all__ = [
    "FILE_NAMES",
    "REQUIRED_FILES",
    "SERIES",
    "Analysis",
    "Charts",
    "Facility",
    "HoursRule",
    "Ids",
    "IncidentRule",
    "PayCodes",
    "Period",
    "Program",
    "Thresholds",
    "Training",
    "UnitChange",
    "read_program",
]


def read_program(path: Path) -> Program:
    """Read and check a program file.

    Raises ``ProgramProblem`` with one sentence that names the table, the key and what to do.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise ProgramProblem(
            f"{path}: there is no such program file. `handling-review new FOLDER` writes one to fill in."
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise ProgramProblem(f"{path}: the program file cannot be read ({_reason(error)}).") from None
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ProgramProblem(f"{path}: not valid TOML: {error}. Mend that line and run again.") from None
    return _program(path, raw)


def _reason(error: Exception) -> str:
    if isinstance(error, UnicodeDecodeError):
        return f"byte {error.start + 1} is not UTF-8; save the file as UTF-8"
    return getattr(error, "strerror", None) or type(error).__name__


_TABLES = {
    "facility": Facility,
    "review": Period,
    "training": Training,
    "analysis": Analysis,
    "charts": Charts,
    "thresholds": Thresholds,
    "pay_codes": PayCodes,
    "hours": HoursRule,
    "ids": Ids,
    "incidents": IncidentRule,
}
_KNOWN = (*_TABLES, "files", "columns", "dates", "decimal_comma", "codes", "units", "jobs")


def _program(path: Path, raw: dict[str, Any]) -> Program:
    for key in raw:
        _known(path, key, _KNOWN, "table")
    parts: dict[str, Any] = {name: _section(path, name, kind, raw.get(name, {})) for name, kind in _TABLES.items()}
    _check_values(path, parts)
    units = raw.get("units", {})
    for key in units:
        _known(path, key, ("aliases", "changes"), "key in [units]")
    return Program(
        path=path,
        files=_files(path, raw.get("files", {})),
        columns=_columns(path, raw.get("columns", {})),
        dates=_choices(path, "dates", raw.get("dates", {}), DATE_ORDERS),
        decimal_comma=_choices(path, "decimal_comma", raw.get("decimal_comma", {}), (True, False)),
        codes=_codes(path, raw.get("codes", {})),
        unit_aliases=_text_map(path, "units.aliases", units.get("aliases", {})),
        unit_changes=_unit_changes(path, units.get("changes", [])),
        jobs=_text_map(path, "jobs", raw.get("jobs", {})),
        **parts,
    )


def _known(path: Path, key: str, known: tuple[str, ...], what: str) -> None:
    if key in known:
        return
    near = difflib.get_close_matches(key, known, n=1, cutoff=0.0)
    raise ProgramProblem(f"{path}: unknown {what} {key!r}. Did you mean {near[0]!r}? Known: {', '.join(known)}.")


def _section(path: Path, name: str, kind: Any, given: Any) -> Any:
    if not isinstance(given, dict):
        raise ProgramProblem(f"{path}: [{name}] must be a table of key = value lines.")
    defaults = kind()
    values: dict[str, Any] = {}
    for key, value in given.items():
        _known(path, key, tuple(defaults.__dataclass_fields__), f"key in [{name}]")
        values[key] = _typed(path, f"[{name}] {key}", value, kind.__annotations__[key])
    return kind(**values)


def _typed(path: Path, where: str, value: Any, annotation: str) -> Any:
    """The value if it has the type the setting needs; integers serve where decimals are asked."""
    kind = annotation.replace(" | None", "")
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if kind == "date" and type(value) is date:
        return value
    if kind == "str" and isinstance(value, str):
        return value
    if kind == "int" and is_number and isinstance(value, int):
        return value
    if kind == "float" and is_number:
        return float(value)
    if kind.startswith("tuple") and isinstance(value, list) and all(isinstance(v, str) for v in value):
        return tuple(value)
    wanted = {
        "date": "a date such as 2025-12-31 (no quotes)",
        "str": 'text in quotes, such as "this"',
        "int": "a whole number",
        "float": "a number",
    }.get(kind, 'a list of texts, such as ["REG", "OT"]')
    raise ProgramProblem(f"{path}: {where} must be {wanted}; found {value!r}.")


def _within(path: Path, where: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise ProgramProblem(f"{path}: {where} must lie between {low:g} and {high:g}; found {value:g}.")


def _check_baseline(path: Path, charts: Charts) -> None:
    if charts.baseline_from and charts.baseline_through and charts.baseline_from > charts.baseline_through:
        raise ProgramProblem(f"{path}: [charts] baseline_from is after baseline_through. Swap or mend them.")


def _check_values(path: Path, parts: Mapping[str, Any]) -> None:
    period: Period = parts["review"]
    if period.start and period.end and period.start > period.end:
        raise ProgramProblem(f"{path}: [review] start {period.start} is after end {period.end}. Swap or mend them.")
    if period.end and period.as_of and period.as_of < period.end:
        raise ProgramProblem(
            f"{path}: [review] as_of {period.as_of} is before end {period.end}: "
            "a review cannot cover days after its exports were taken."
        )
    _within(path, "[review] fiscal_year_start_month", period.fiscal_year_start_month, 1, 12)
    training: Training = parts["training"]
    _within(path, "[training] washout_days", training.washout_days, 0, 730)
    if training.refresher_months is not None:
        _within(path, "[training] refresher_months", training.refresher_months, 1, 120)
    _within(path, "[training] minimum_match_share", training.minimum_match_share, 0, 1)
    _check_baseline(path, parts["charts"])
    analysis: Analysis = parts["analysis"]
    for key, value, known in (
        ("series", analysis.series, SERIES),
        ("design", analysis.design, DESIGNS),
    ):
        if value not in known:
            _known(path, value, known, f"[analysis] {key}")
    _within(path, "[analysis] confidence", analysis.confidence, 0.5, 0.999)
    _within(path, "[analysis] target_reduction", analysis.target_reduction, 0.01, 0.99)
    thresholds: Thresholds = parts["thresholds"]
    for key, value in asdict(thresholds).items():
        _within(path, f"[thresholds] {key}", value, 0, 10_000)
    hours: HoursRule = parts["hours"]
    if hours.written_as not in HOURS_AS:
        _known(path, hours.written_as, HOURS_AS, "[hours] written_as")
    _within(path, "[hours] hours_per_fte_year", hours.hours_per_fte_year, 1000, 3000)
    _within(path, "[ids] zero_pad", parts["ids"].zero_pad, 0, 20)
    for value in parts["incidents"].person_types:
        _known(path, value, PERSON_TYPES, "[incidents] person_types")
    codes: PayCodes = parts["pay_codes"]
    listed = [code.casefold() for group in asdict(codes).values() for code in group]
    twice = sorted({code for code in listed if listed.count(code) > 1})
    if twice:
        raise ProgramProblem(f"{path}: [pay_codes] lists {twice[0].upper()!r} under more than one meaning. Keep one.")


def _unit_changes(path: Path, given: Any) -> tuple[UnitChange, ...]:
    where = "[[units.changes]]"
    if not isinstance(given, list) or not all(isinstance(one, dict) for one in given):
        raise ProgramProblem(f"{path}: {where} must hold tables with on, old and new.")
    found = []
    for one in given:
        for key in one:
            _known(path, key, ("on", "old", "new"), f"key in {where}")
        missing = [key for key in ("on", "old", "new") if not one.get(key)]
        if missing:
            raise ProgramProblem(
                f'{path}: {where} lacks {missing[0]}. Write on = 2025-01-01, old = ["A"], new = ["B"].'
            )
        found.append(
            UnitChange(
                on=_typed(path, f"{where} on", one["on"], "date"),
                old=_typed(path, f"{where} old", one["old"], "tuple"),
                new=_typed(path, f"{where} new", one["new"], "tuple"),
            )
        )
    return tuple(found)


def _files(path: Path, given: Any) -> dict[str, tuple[Path, ...]]:
    if not isinstance(given, dict):
        raise ProgramProblem(f'{path}: [files] must be a table such as incidents = "incidents.csv".')
    found: dict[str, tuple[Path, ...]] = {}
    for key, value in given.items():
        _known(path, key, FILE_NAMES, "key in [files]")
        listed = [value] if isinstance(value, str) else value
        if not isinstance(listed, list) or not listed or not all(isinstance(v, str) and v for v in listed):
            raise ProgramProblem(f"{path}: [files] {key} must be a file name or a list of file names.")
        found[key] = tuple((path.parent / name).resolve() for name in listed)
    missing = [name for name in REQUIRED_FILES if name not in found]
    if missing:
        raise ProgramProblem(
            f"{path}: [files] does not name {', '.join(missing)}. "
            f'A review needs all three: add a line such as {missing[0]} = "{missing[0]}.csv".'
        )
    return found


def _text_map(path: Path, where: str, given: Any) -> dict[str, str]:
    if not isinstance(given, dict) or not all(isinstance(v, str) for v in given.values()):
        raise ProgramProblem(f'{path}: [{where}] must be lines such as "Their word" = "our word".')
    return dict(given)


def _columns(path: Path, given: Any) -> dict[str, dict[str, str]]:
    for key in given:
        _known(path, key, FILE_NAMES, "table in [columns]")
    return {key: _text_map(path, f"columns.{key}", value) for key, value in given.items()}


def _codes(path: Path, given: Any) -> dict[str, dict[str, dict[str, str]]]:
    for key, value in given.items():
        _known(path, key, FILE_NAMES, "table in [codes]")
        if not isinstance(value, dict):
            raise ProgramProblem(f"{path}: [codes.{key}] must hold one table a column, such as [codes.{key}.outcome].")
    return {
        file: {column: _text_map(path, f"codes.{file}.{column}", m) for column, m in tables.items()}
        for file, tables in given.items()
    }


def _choices(path: Path, table: str, given: Any, known: tuple[Any, ...]) -> dict[str, Any]:
    for key, value in given.items():
        _known(path, key, FILE_NAMES, f"key in [{table}]")
        if value not in known:
            shown = ", ".join(str(k).lower() if isinstance(k, bool) else repr(k) for k in known)
            raise ProgramProblem(f"{path}: [{table}] {key} must be one of {shown}; found {value!r}.")
    return dict(given)
