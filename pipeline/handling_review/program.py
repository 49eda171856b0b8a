"""The program file (TOML) read into settings: unknown keys refused with the nearest known one."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, asdict
from datetime import date
from pathlib import Path
from typing import Any

from handling_review.problems import ProgramProblem
from handling_review.program_text import change, files_named, inside_paths, raw_program
from handling_review.settings import (
    DATE_ORDERS,
    DESIGNS,
    ENGINES,
    FILE_NAMES,
    HOURS_AS,
    INSURED,
    MOST_PROPOSALS,
    PERSON_TYPES,
    REQUIRED_FILES,
    SERIES,
    Analysis,
    Charts,
    Facility,
    HoursRule,
    Ids,
    IncidentRule,
    Keeping,
    Money,
    PayCodes,
    Period,
    Privacy,
    Program,
    Proposal,
    Thresholds,
    Training,
    UnitChange,
)
from handling_review.visible import printable

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
    "Keeping",
    "Money",
    "PayCodes",
    "Period",
    "Privacy",
    "Program",
    "Proposal",
    "Thresholds",
    "Training",
    "UnitChange",
    "read_program",
]


def read_program(path: Path, changed: Sequence[str] = ()) -> Program:
    """Read and check a program file; ``changed``: lines such as ``money.cost_base=9000`` or ``proposals.2.quantity=4``.

    Raises ``ProgramProblem`` with one sentence that names the table, the key and what to do.
    """
    raw = raw_program(path)
    for line in changed:
        change(path, raw, line)
    return _program(path, raw)


_TABLES = {
    "facility": Facility,
    "review": Period,
    "training": Training,
    "analysis": Analysis,
    "charts": Charts,
    "money": Money,
    "thresholds": Thresholds,
    "pay_codes": PayCodes,
    "hours": HoursRule,
    "ids": Ids,
    "incidents": IncidentRule,
    "store": Keeping,
    "privacy": Privacy,
}
_LONGEST_SHOWN = 100  # characters
_HOST = r"(?:[A-Za-z0-9](?:[A-Za-z0-9.-]{0,251}[A-Za-z0-9])?|\[[0-9A-Fa-f:]{2,45}\])"  # no user, no password
_MASTER = re.compile(
    rf"local|local\[(?:[1-9][0-9]{{0,2}}|\*)\]|spark://{_HOST}:[0-9]{{1,5}}|yarn|k8s://https://{_HOST}(?::[0-9]{{1,5}})?"
)
_KNOWN = (*_TABLES, "files", "columns", "dates", "decimal_comma", "codes", "units", "jobs")


def _program(path: Path, raw: dict[str, Any]) -> Program:
    for key, given in raw.items():
        _known(path, key, _KNOWN, "table")
        if not isinstance(given, dict):
            raise ProgramProblem(f"{path}: [{key}] must be a table of key = value lines.")
    raw, proposals = _without_proposals(path, raw)
    parts: dict[str, Any] = {name: _section(path, name, kind, raw.get(name, {})) for name, kind in _TABLES.items()}
    _check_values(path, parts)
    units = raw.get("units", {})
    for key in units:
        _known(path, key, ("aliases", "changes"), "key in [units]")
    privacy: Privacy = parts["privacy"]
    outside = raw.get("files", {}).get("allow_outside", False) if isinstance(raw.get("files"), dict) else False
    if privacy.secret_file:
        inside_paths(path, "[privacy] secret_file", (privacy.secret_file,), allow_outside=outside)
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
        proposals=tuple(_proposal(path, number, one) for number, one in enumerate(proposals, start=1)),
        **parts,
    )


def _shown(value: object) -> str:
    """The value as it stands in a message, cut short."""
    text = repr(value)
    return text if len(text) <= _LONGEST_SHOWN else text[:_LONGEST_SHOWN] + "..."


def _known(path: Path, key: str, known: tuple[str, ...], what: str) -> None:
    if key in known:
        return
    near = difflib.get_close_matches(key, known, n=1, cutoff=0.0)
    raise ProgramProblem(f"{path}: unknown {what} {_shown(key)}. Did you mean {near[0]!r}? Known: {', '.join(known)}.")


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
        return " ".join(printable(value).split())
    if kind == "bool" and isinstance(value, bool):
        return value
    if kind == "int" and is_number and isinstance(value, int):
        return value
    if kind == "float" and is_number:
        return float(value)
    if kind.startswith("tuple") and isinstance(value, list) and all(isinstance(v, str) for v in value):
        return tuple(printable(one) for one in value)
    wanted = {
        "date": "a date such as 2025-12-31 (no quotes)",
        "str": 'text in quotes, such as "this"',
        "bool": "true or false",
        "int": "a whole number",
        "float": "a number",
    }.get(kind, 'a list of texts, such as ["REG", "OT"]')
    raise ProgramProblem(f"{path}: {where} must be {wanted}; found {_shown(value)}.")


def _within(path: Path, where: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise ProgramProblem(f"{path}: {where} must lie between {low:g} and {high:g}; found {value:g}.")


def _without_proposals(path: Path, raw: dict[str, Any]) -> tuple[dict[str, Any], list[Any]]:
    """The file without [[money.proposals]], and these."""
    money = raw.get("money", {})
    if not isinstance(money, dict):
        return raw, []
    proposals = money.get("proposals", [])
    if not isinstance(proposals, list) or not all(isinstance(one, dict) for one in proposals):
        raise ProgramProblem(f"{path}: [[money.proposals]] must hold one table a proposal.")
    if len(proposals) > MOST_PROPOSALS:
        raise ProgramProblem(
            f"{path}: [[money.proposals]] holds {len(proposals)}; at most {MOST_PROPOSALS} can be compared. "
            "Keep those that are to be decided on now."
        )
    return {**raw, "money": {key: value for key, value in money.items() if key != "proposals"}}, proposals


def _proposal(path: Path, number: int, given: dict[str, Any]) -> Proposal:
    where = f"[[money.proposals]] no. {number}"
    known = Proposal.__dataclass_fields__
    for key in given:
        _known(path, key, tuple(known), f"key in {where}")
    needed = [name for name, one in known.items() if one.default is MISSING]
    missing = [name for name in needed if name not in given]
    if missing:
        raise ProgramProblem(f"{path}: {where} lacks {', '.join(missing)}. Each figure needs its owner and its day.")
    values = {key: _typed(path, f"{where} {key}", v, Proposal.__annotations__[key]) for key, v in given.items()}
    found = Proposal(**values)
    _within(path, f"{where} quantity", found.quantity, 1, 100_000)
    if found.life_years is not None:
        _within(path, f"{where} life_years", found.life_years, 1, 50)
    for key in ("unit_cost", "yearly_service"):
        _within(path, f"{where} {key}", getattr(found, key), 0, 1e9)
    _within(path, f"{where} share_addressed", found.share_addressed, 0, 1)
    if not 0 <= found.reduction_low <= found.reduction_base <= found.reduction_high <= 1:
        raise ProgramProblem(f"{path}: {where}: reduction_low, _base and _high must rise from 0 to 1.")
    return found


def _check_money(path: Path, money: Money) -> None:
    costs = (money.cost_low, money.cost_base, money.cost_high)
    given = [cost for cost in costs if cost is not None]
    if given and not (len(given) == 3 and 0 < given[0] <= given[1] <= given[2]):
        raise ProgramProblem(
            f"{path}: [money] needs cost_low, cost_base and cost_high together, above 0 and rising, or none of them."
        )
    if (given or money.wage_per_hour is not None) and not (money.owner and money.stated_on and money.year):
        raise ProgramProblem(f"{path}: [money] states figures: give their owner, stated_on and year too.")
    if money.insured not in INSURED:
        _known(path, money.insured, INSURED, "[money] insured")
    _within(path, "[money] horizon_years", money.horizon_years, 1, 50)
    _within(path, "[money] claim_age_days", money.claim_age_days, 0, 3650)
    for key in ("indirect_multiplier", "materials_per_completion", "other_costs", "wage_per_hour", "budget"):
        _within(path, f"[money] {key}", getattr(money, key) or 0, 0, 1e9)


def _check_baseline(path: Path, charts: Charts) -> None:
    if charts.baseline_from and charts.baseline_through and charts.baseline_from > charts.baseline_through:
        raise ProgramProblem(f"{path}: [charts] baseline_from is after baseline_through. Swap or mend them.")


def _check_store(path: Path, store: Keeping) -> None:
    _within(path, "[store] keep_years", store.keep_years, 0, 100)
    if store.engine not in ENGINES:
        raise ProgramProblem(f'{path}: [store] engine must be "duckdb" or "spark"; found {_shown(store.engine)}.')
    if not _MASTER.fullmatch(store.master):
        raise ProgramProblem(
            f"{path}: [store] master must be local, local[N], local[*], spark://host:port, yarn or "
            f"k8s://https://host:port; found {_shown(store.master)}."
        )


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
    _check_money(path, parts["money"])
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
    _check_store(path, parts["store"])
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
    allowed = _typed(path, "[files] allow_outside", given.get("allow_outside", False), "bool")
    for key, value in given.items():
        _known(path, key, (*FILE_NAMES, "allow_outside"), "key in [files]")
        if key == "allow_outside":
            continue
        listed = [value] if isinstance(value, str) else value
        if not isinstance(listed, list) or not listed or not all(isinstance(v, str) and v for v in listed):
            raise ProgramProblem(f"{path}: [files] {key} must be a file name, a folder, or a list of these.")
        named = inside_paths(path, f"[files] {key}", listed, allow_outside=allowed)
        found[key] = files_named(path, f"[files] {key}", named)
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
    return {printable(key): printable(value) for key, value in given.items()}


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
            raise ProgramProblem(f"{path}: [{table}] {key} must be one of {shown}; found {_shown(value)}.")
    return dict(given)
