"""What changed since the last review, as published numbers: then, now, difference, and what each reason brings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number
from handling_review.evidence.restated_compare import COMPARED, FIRST, Changes, Item, Reason
from handling_review.evidence.restated_keys import FixedPeriod, fixed_period


@dataclass(frozen=True)
class ReasonShown:
    """A reason with its cases, hours or rows as numbers; those that do not apply are None."""

    kind: str
    cases: Number | None
    hours: Number | None
    rows: Number | None


@dataclass(frozen=True)
class RestatedRow:
    """One restated number. ``then`` or ``now`` is None where that review gave none."""

    key: str
    period: FixedPeriod
    place: str
    then: Number | None
    now: Number | None
    difference: Number | None
    reasons: tuple[ReasonShown, ...]


@dataclass(frozen=True)
class RestatedEvidence:
    """All restated numbers in the order of place, period and kind.

    ``measured`` and ``trained``: how many of them are cases, hours and rates (limits not counted), and how many tell
    training apart.
    ``totals``: what the reasons bring in the whole facility.
    """

    changes: Changes
    rows: tuple[RestatedRow, ...]
    compared: Number
    restated: Number
    measured: Number
    trained: Number
    totals: tuple[ReasonShown, ...]

    @property
    def is_first(self) -> bool:
        """Whether there is no earlier review."""
        return self.changes.status == FIRST

    @property
    def is_compared(self) -> bool:
        """Whether there is one whose numbers can be set beside these."""
        return self.changes.status == COMPARED

    def of(self, key: str) -> RestatedRow | None:
        """The row of one number, if it was restated."""
        return next((row for row in self.rows if row.key == key), None)


def gather(changes: Changes, names: Mapping[str, str]) -> RestatedEvidence:
    """The changes as numbers; ``names`` gives each unit's name."""
    rows = sorted((_row(item, names) for item in changes.items), key=_order)
    trained = sum(row.period.is_training for row in rows)
    limits = sum(row.period.is_limit for row in rows)
    return RestatedEvidence(
        changes=changes,
        rows=tuple(rows),
        compared=numbers.count("restated/compared", changes.compared, "numbers"),
        restated=numbers.count("restated/all", len(rows), "numbers"),
        measured=numbers.count("restated/measured", len(rows) - trained - limits, "numbers"),
        trained=numbers.count("restated/trained", trained, "numbers"),
        totals=tuple(_shown("facility", reason) for reason in changes.totals),
    )


def _order(row: RestatedRow) -> tuple[object, ...]:
    period = row.period
    return period.unit is not None, row.place, period.calendar is not None, period.period, period.is_training, row.key


def _row(item: Item, names: Mapping[str, str]) -> RestatedRow:
    period = fixed_period(item.key)
    if period is None:
        raise ValueError(f"{item.key} speaks of no fixed period")
    then = None if item.then is None else Number(f"restated_then/{item.key}", item.then[1], item.then[0], item.then[2])
    now = None if item.now is None else Number(f"restated_now/{item.key}", item.now[1], item.now[0], item.now[2])
    return RestatedRow(
        key=item.key,
        period=period,
        place="whole facility" if period.unit is None else names.get(period.unit, period.unit),
        then=then,
        now=now,
        difference=None if then is None or now is None else numbers.change(f"restated_by/{item.key}", then, now),
        reasons=tuple(_shown(item.key, reason) for reason in item.reasons),
    )


def _shown(place: str, reason: Reason) -> ReasonShown:
    end = f"{reason.kind}/{place}"
    return ReasonShown(
        kind=reason.kind,
        cases=numbers.count(f"restated_cases/{end}", reason.cases) if reason.cases else None,
        hours=numbers.decimal(f"restated_hours/{end}", reason.hours, "hours") if abs(reason.hours) >= 0.05 else None,
        rows=numbers.count(f"restated_rows/{end}", reason.rows, "rows") if reason.rows else None,
    )
