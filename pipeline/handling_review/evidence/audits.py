"""Technique audits: the share of steps done as taught, and the figures that may move before injuries do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.contrast import CANNOT_TELL, COUNTS_ONLY, HIGHER, LOWER, NO_DATA, Estimate, estimate
from handling_review.evidence.measure import Rate
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.quarters import previous
from handling_review.evidence.rates import RatesEvidence
from handling_review.evidence.training import TrainingEvidence
from handling_review.program import Program
from handling_review.stats import proportions

# Steps in the order in which a transfer is made ready and done, and transfers: the codes of the observations contract.
ITEMS = (
    *("brakes_set", "chair_angle_60_to_90", "stronger_side_first", "rests_cleared", "client_at_edge"),
    *("steps_explained", "count_given", "stance_wide", "knees_bent", "load_close", "look_behind", "discomfort_asked"),
)
TRANSFERS = (
    *("lateral_transfer", "two_person_lift", "squat_pivot", "stand_pivot", "mechanical_lift", "wheelchair_level"),
    *("wheelchair_ramp_or_curb", "other"),
)
WINDOW = 4  # quarters; a whole year, so that the season is the same on both sides
LATER = 2  # quarters from an early figure to the injuries that are set beside it; common practice, no source
_NOW, _THEN = "four-quarters", "four-quarters-before"
_NONE = (0, 0, 0)
_POINTS = "percentage points"
_Counts = tuple[int, int, int]  # met, not met, not applicable


@dataclass(frozen=True)
class Judged:
    """Steps judged in one place and time. ``judged`` is met + not met; a step that does not apply is in neither.

    ``share`` is met / judged (0 to 1) with Wilson's interval; ``None`` with fewer than ``thresholds.unreliable_below``
    steps judged: the counts stand alone.
    """

    met: Number
    judged: Number
    not_applicable: Number
    share: Estimate | None


@dataclass(frozen=True)
class AuditQuarter:
    """The facility's audits of one quarter; ``is_complete`` by the hours and the log, as for the rates."""

    quarter: str
    is_complete: bool
    steps: Judged


@dataclass(frozen=True)
class AuditRow:
    """One item, type of transfer, unit or the facility: the last four complete quarters and the four before.

    ``change`` is now - then in percentage points with Newcombe's interval, ``None`` where a side has no share.
    ``verdict``: higher, lower, cannot_tell; counts_only with too few steps on a side; no_data without any.
    """

    code: str
    name: str
    now: Judged
    then: Judged
    change: Estimate | None
    verdict: str


@dataclass(frozen=True)
class AuditsEvidence:
    """All audits. ``now`` and ``then`` are the quarters of the two windows; ``then`` is empty without four of them.

    ``items`` and ``transfers`` are in the order of the contract, those seen in either window; ``units`` is
    alphabetical and names every unit. ``reason`` says why there is nothing to tell; all tuples are then empty.
    """

    now: tuple[str, ...]
    then: tuple[str, ...]
    quarters: tuple[AuditQuarter, ...]
    facility: AuditRow
    items: tuple[AuditRow, ...]
    transfers: tuple[AuditRow, ...]
    units: tuple[AuditRow, ...]
    reason: str

    def least_met(self, most: int = 3) -> tuple[AuditRow, ...]:
        """Items whose interval lies below the facility's share now; of more than ``most`` the lowest, in item order."""
        whole = self.facility.now.share
        if whole is None:
            return ()
        below = [row for row in self.items if row.now.share and _read(row.now.share.upper) < _read(whole.value)]
        kept = sorted(below, key=lambda row: _shown(row.now.share))[:most]
        return tuple(row for row in below if row in kept)


def gather(
    audits: pd.DataFrame, complete: tuple[str, ...], names: Mapping[str, str], program: Program
) -> AuditsEvidence:
    """Shares of steps met.

    ``audits`` has one row a quarter, unit, transfer_type and item with counts met, not_met and not_applicable;
    ``complete`` are the complete quarters in order, ``names`` gives each unit's name.

    Intervals: Wilson 1927 (one share) and Newcombe 1998, method 10 (change).
    """
    now = complete[-WINDOW:]
    then = complete[-2 * WINDOW : -WINDOW] if len(complete) >= 2 * WINDOW else ()
    steps = _Steps(audits, now, then, program)
    reason = ""
    if audits.empty:
        reason = "no technique audit lies in the days of this review"
    elif not now:
        reason = "no quarter is complete yet"
    if reason:
        return AuditsEvidence(now, then, (), steps.row("facility", "", "facility", ""), (), (), (), reason)
    units = {code: names.get(code, code) for code in {*names, *audits["unit"].astype(str)}}
    return AuditsEvidence(
        now=now,
        then=then,
        quarters=tuple(
            AuditQuarter(quarter, quarter in complete, steps.judged(f"facility/{quarter}", found))
            for quarter, found in steps.by_quarter({*complete, *audits["quarter"].astype(str)})
        ),
        facility=steps.row("facility", "", "facility", ""),
        items=tuple(steps.row(f"item:{code}", code, code, "item") for code in steps.seen("item", ITEMS)),
        transfers=tuple(
            steps.row(f"transfer:{code}", code, code, "transfer_type")
            for code in steps.seen("transfer_type", TRANSFERS)
        ),
        units=tuple(
            steps.row(f"unit:{key_part(code)}", code, name, "unit")
            for code, name in sorted(units.items(), key=lambda item: (item[1].casefold(), item[0]))
        ),
        reason="",
    )


class _Steps:
    """The audits of two windows, added up before anything is divided."""

    def __init__(self, audits: pd.DataFrame, now: tuple[str, ...], then: tuple[str, ...], program: Program) -> None:
        self._all = audits
        self._windows = tuple(audits[audits["quarter"].isin(list(quarters))] for quarters in (now, then))
        self._fewest = program.thresholds.unreliable_below
        self._level = program.analysis.confidence

    def seen(self, column: str, order: tuple[str, ...]) -> list[str]:
        """The values of a column in either window, in ``order``."""
        found = {str(code) for window in self._windows for code in window[column]}
        return sorted(found, key=order.index)

    def by_quarter(self, quarters: Iterable[str]) -> list[tuple[str, _Counts]]:
        return [(quarter, _counts(self._all[self._all["quarter"] == quarter])) for quarter in sorted(quarters)]

    def judged(self, place: str, found: _Counts) -> Judged:
        met, not_met, not_applicable = found
        judged, share = met + not_met, None
        if judged >= max(self._fewest, 1):
            limits = proportions.wilson(met, judged, confidence=self._level)
            share = estimate(numbers.share, "audit_share", place, met / judged, limits.lower, limits.upper)
        return Judged(
            met=numbers.count(f"audit_met/{place}", met, "steps"),
            judged=numbers.count(f"audit_judged/{place}", judged, "steps"),
            not_applicable=numbers.count(f"audit_not_applicable/{place}", not_applicable, "steps"),
            share=share,
        )

    def row(self, place: str, code: str, name: str, column: str) -> AuditRow:
        """One row; without a ``column`` that of the whole facility."""
        counts = [_counts(window[window[column] == code] if column else window) for window in self._windows]
        now, then = (self.judged(f"{place}/{end}", own) for end, own in zip((_NOW, _THEN), counts, strict=True))
        if not now.judged.value or not then.judged.value:
            return AuditRow(code, name, now, then, None, NO_DATA)
        if now.share is None or then.share is None:
            return AuditRow(code, name, now, then, None, COUNTS_ONLY)
        (met1, not1, _), (met0, not0, _) = counts
        gap = proportions.newcombe(met1, met1 + not1, met0, met0 + not0, confidence=self._level)
        change = estimate(_points, "audit_change", f"{place}/{_NOW}", gap.estimate, gap.lower, gap.upper)
        return AuditRow(code, name, now, then, change, _verdict(change))


def _counts(rows: pd.DataFrame) -> _Counts:
    if rows.empty:
        return _NONE
    return int(rows["met"].sum()), int(rows["not_met"].sum()), int(rows["not_applicable"].sum())


def _points(key: str, difference: float) -> Number:
    return numbers.decimal(key, 100 * difference, _POINTS)


def _verdict(change: Estimate) -> str:
    """By the limits as they are printed: a printed 0.0 leaves no change in."""
    if round(change.lower.value or 0, 1) > 0:
        return HIGHER
    return LOWER if round(change.upper.value or 0, 1) < 0 else CANNOT_TELL


def _read(share: Number) -> float:
    """A share at the whole percentage it is printed with."""
    return round(share.value or 0, 2)


def _shown(share: Estimate | None) -> float:
    return 1.0 if share is None else share.value.value or 0.0


@dataclass(frozen=True)
class LeadingRow:
    """Figures of one complete quarter that may move before injuries do, and the injuries two quarters later.

    ``coverage`` is the share of hours worked with current training (all hours are counted: no interval). ``first_aid``
    are first-aid cases per 200,000 hours. ``injuries`` is the rate of the primary series in ``later_quarter``; ``None``
    while that quarter is not complete, for the reason in ``not_known``.
    """

    quarter: str
    is_provisional: bool
    coverage: Number | None
    audits: Judged | None
    first_aid: Rate
    later_quarter: str
    later_is_provisional: bool
    injuries: Rate | None
    not_known: str


@dataclass(frozen=True)
class LeadingEvidence:
    """One row for each complete quarter; ``has_audits`` is false without any technique audit."""

    series: str
    rows: tuple[LeadingRow, ...]
    has_audits: bool


def leading(
    audits: AuditsEvidence, training: TrainingEvidence, rates: RatesEvidence, program: Program
) -> LeadingEvidence:
    """Coverage, audits and first-aid reports by complete quarter beside the injuries two quarters later.

    Every number is one that is published elsewhere, under the same key. Nothing is correlated: with a dozen quarters
    that all follow one program, figures move together whatever causes them.
    """
    series = program.analysis.series
    spans = {span.quarter: span for span in rates.quarters}
    audited = {item.quarter: item.steps for item in audits.quarters}
    covered = {row.name: row.share("current") for row in training.quarters if row.shares}
    rows = []
    for quarter in rates.complete():
        later = previous(quarter, -LATER)
        after = spans.get(later)
        is_known = after is not None and after.is_complete
        rows.append(
            LeadingRow(
                quarter=quarter,
                is_provisional=spans[quarter].is_provisional,
                coverage=covered.get(quarter),
                audits=audited.get(quarter),
                first_aid=spans[quarter].of("first_aid"),
                later_quarter=later,
                later_is_provisional=after is not None and after.is_provisional,
                injuries=after.of(series) if after is not None and is_known else None,
                not_known="" if is_known else ("not yet known" if after is None else after.reason or "incomplete"),
            )
        )
    return LeadingEvidence(series, tuple(rows), any(item.steps.judged.value for item in audits.quarters))
