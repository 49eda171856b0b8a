"""The settings of an earlier review as a program again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import Any

from handling_review import settings
from handling_review.problems import OutputProblem
from handling_review.program import Program

_SECTIONS: dict[str, Any] = {
    "facility": settings.Facility,
    "review": settings.Period,
    "hours": settings.HoursRule,
    "ids": settings.Ids,
    "incidents": settings.IncidentRule,
    "pay_codes": settings.PayCodes,
    "training": settings.Training,
    "analysis": settings.Analysis,
    "charts": settings.Charts,
    "money": settings.Money,
    "thresholds": settings.Thresholds,
    "store": settings.Keeping,
}


def program_of(plain: Mapping[str, Any], settings_hash: str) -> Program:
    """The program whose ``settings()`` these are; ``settings_hash`` is what they hashed to when the review was built.

    Raises ``OutputProblem`` where the settings are not those of this version or were altered.
    """
    try:
        program = Program(
            path=Path("program.toml"),
            files={name: tuple(Path(one) for one in listed) for name, listed in plain["files"].items()},
            unit_changes=tuple(_made(settings.UnitChange, one) for one in plain["unit_changes"]),
            proposals=tuple(_made(settings.Proposal, one) for one in plain["proposals"]),
            **{name: plain[name] for name in ("columns", "dates", "decimal_comma", "codes", "unit_aliases", "jobs")},
            **{name: _made(kind, plain[name]) for name, kind in _SECTIONS.items()},
        )
    except (KeyError, TypeError, ValueError, AttributeError):
        raise OutputProblem(
            "The settings kept with that review are not whole, or are those of another version."
        ) from None
    if program.settings_hash() != settings_hash:
        raise OutputProblem("The settings kept with that review are not the ones that it was built with.")
    return program


def _made(kind: Any, plain: Mapping[str, Any]) -> Any:
    types = {one.name: str(one.type) for one in fields(kind)}
    return kind(**{name: _value(types[name], value) for name, value in plain.items()})


def _value(kind: str, value: Any) -> Any:
    if value is None:
        return None
    if kind.startswith("date"):
        return date.fromisoformat(value)
    return tuple(value) if kind.startswith("tuple") else value
