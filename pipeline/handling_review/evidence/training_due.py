"""Whose training is due, as counts: by month for the facility, by state for each unit. No person is in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number, key_part
from handling_review.program import Program
from handling_review.store.settle import ACTIVE_DAYS

COLUMNS = ("unit", "state", "due_month", "people")
MONTHS_AHEAD = 12
SOON_MONTHS = 3  # long enough to book a class and free people from their shifts; common practice, no source
STATES = ("overdue", "never_trained", "due", "current_no_end", "unknown", "comparison_unit")


@dataclass(frozen=True)
class DueMonth:
    """People whose training lapses in one month (``2026-09``), or after the last of them (``later``)."""

    month: str
    people: Number


@dataclass(frozen=True)
class DueUnit:
    """People who still work on one unit, by where their training stands; the parts add up to ``people``.

    On a comparison unit nobody is due, and ``people`` is the only count above nought. ``soon``: training lapses in
    the rest of this month or the ``SOON_MONTHS`` after it; ``later``: after that.
    """

    unit: str
    name: str
    is_comparison: bool
    people: Number
    overdue: Number
    never_trained: Number
    soon: Number
    later: Number
    current_no_end: Number
    unknown: Number


@dataclass(frozen=True)
class DueEvidence:
    """People who still work here by where their training stands on the day of the exports.

    ``months``: the month of that day, the ``MONTHS_AHEAD`` after it, and ``later``. ``people`` counts everybody,
    ``asked`` those outside comparison units. ``active_days``: hours worked within so many days mean "still works
    here". ``refresher_months``: the facility's own rule, if it has one. Units stand in the order of their names.
    """

    as_of: date
    active_days: int
    refresher_months: Number | None
    soon_through: str
    months: tuple[DueMonth, ...]
    units: tuple[DueUnit, ...]
    people: Number
    asked: Number
    overdue: Number
    never_trained: Number
    soon: Number
    due: Number
    current_no_end: Number
    unknown: Number
    comparison: Number


def month_after(day: date, months: int) -> str:
    """The month so many months after the month of ``day``, as ``2026-09``."""
    index = day.year * 12 + day.month - 1 + months
    return f"{index // 12:04d}-{index % 12 + 1:02d}"


def gather(frame: pd.DataFrame, names: Mapping[str, str], as_of: date, program: Program) -> DueEvidence:
    """Counts from the result table ``training_due`` (unit, state, due_month, people).

    ``names`` gives each unit's name. Raises ``ValueError`` for a column or state that is not one of those above: a
    table with more columns could hold persons.
    """
    if tuple(frame.columns) != COLUMNS:
        raise ValueError(f"result table training_due must hold {', '.join(COLUMNS)} and nothing else")
    odd = sorted(set(frame["state"]) - set(STATES))
    if odd:
        raise ValueError(f"result table training_due holds the unknown state {odd[0]}")
    ahead = [month_after(as_of, step) for step in range(MONTHS_AHEAD + 1)]
    soon_through = ahead[SOON_MONTHS]
    due = frame[frame["state"] == "due"]
    by_month = {str(month): int(people) for month, people in due.groupby("due_month")["people"].sum().items()}
    after = sum(people for month, people in by_month.items() if month > ahead[-1])
    whole = _by_state(frame)

    def number(name: str, people: int) -> Number:
        return numbers.count(f"people_due/facility/{name}", people, "people")

    return DueEvidence(
        as_of=as_of,
        active_days=ACTIVE_DAYS,
        refresher_months=None
        if program.training.refresher_months is None
        else numbers.count("setting/refresher_months", program.training.refresher_months, "months"),
        soon_through=soon_through,
        months=(
            *(DueMonth(month, number(month, by_month.get(month, 0))) for month in ahead),
            DueMonth("later", number("later", after)),
        ),
        units=tuple(
            _unit(unit, names.get(unit, unit), frame[frame["unit"] == unit], soon_through)
            for unit in sorted(set(frame["unit"]), key=lambda code: (names.get(code, code).casefold(), code))
        ),
        people=number("all", sum(whole.values())),
        asked=number("all_but_comparison", sum(whole.values()) - whole["comparison_unit"]),
        overdue=number("overdue", whole["overdue"]),
        never_trained=number("never_trained", whole["never_trained"]),
        soon=number("soon", _through(due, soon_through)),
        due=number("due", whole["due"]),
        current_no_end=number("current_no_end", whole["current_no_end"]),
        unknown=number("unknown", whole["unknown"]),
        comparison=number("comparison_unit", whole["comparison_unit"]),
    )


def _by_state(frame: pd.DataFrame) -> dict[str, int]:
    found = frame.groupby("state")["people"].sum()
    return {state: int(found.get(state, 0)) for state in STATES}


def _through(due: pd.DataFrame, last: str) -> int:
    """People whose training lapses in the month ``last`` or before; months as text sort as months."""
    return int(due.loc[due["due_month"] <= last, "people"].sum())


def _unit(unit: str, name: str, frame: pd.DataFrame, soon_through: str) -> DueUnit:
    states = _by_state(frame)
    soon = _through(frame[frame["state"] == "due"], soon_through)

    def number(part: str, people: int) -> Number:
        return numbers.count(f"people_due/unit:{key_part(unit)}/{part}", people, "people")

    return DueUnit(
        unit=unit,
        name=name,
        is_comparison=states["comparison_unit"] > 0,
        people=number("all", sum(states.values())),
        overdue=number("overdue", states["overdue"]),
        never_trained=number("never_trained", states["never_trained"]),
        soon=number("soon", soon),
        later=number("later", states["due"] - soon),
        current_no_end=number("current_no_end", states["current_no_end"]),
        unknown=number("unknown", states["unknown"]),
    )
