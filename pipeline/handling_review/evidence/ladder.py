"""The ladder: what each design, weakest to strongest, says of each series, and which one leads."""

from __future__ import annotations

import math
from dataclasses import dataclass

from handling_review.evidence import designs, numbers, panel
from handling_review.evidence.contrast import CANNOT_TELL, HIGHER, LOWER, Estimate, estimate
from handling_review.evidence.numbers import Number
from handling_review.evidence.panel import Check, Designed
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.study import Performance, performance
from handling_review.evidence.tally import SERIES
from handling_review.program import Program

LABELS = {
    panel.BEFORE_AFTER: "before and after, whole facility, with washout",
    panel.CONTROL: "the same, set against injuries that training does not aim at",
    panel.COMPARISON: "units with the program set against comparison units",
    panel.INTERRUPTED: "interrupted series: the step at the start against the line before it",
    panel.ADJUSTED: "started or not, allowing for the unit and a steady yearly change",
    panel.WITHIN: "trained against not yet trained, within unit and calendar quarter",
    panel.STAGGERED: "staggered start: units that had started against units that had not, quarter by quarter",
}
NO_RATIO = "no_ratio"


@dataclass(frozen=True)
class Rung:
    """One design on one series.

    ``ratio`` is ``None`` where the design cannot be computed, and ``reason`` says why. ``now`` and ``then`` are the
    cases and hours with and without the program in this design. ``verdict`` is lower, higher, cannot_tell or
    no_ratio; ``few`` marks fewer cases on a side than the program file trusts. ``must_fall_below`` is the ratio that
    the upper limit must stay below for "lower" (below 1 only for before and after, which a general fall can fool).
    """

    key: str
    design: str
    label: str
    series: str
    ratio: Estimate | None
    p_value: Number | None
    now_events: Number
    now_hours: Number
    then_events: Number
    then_hours: Number
    expected_error: float
    must_fall_below: Number
    verdict: str
    few: bool
    is_usable: bool
    checks: tuple[Check, ...]
    reason: str


@dataclass(frozen=True)
class Ladder:
    """All designs of one series, weakest first, and the one that leads.

    ``primary`` is the name of the leading design; ``fixed_as`` is what the program file says (a design, or
    "strongest": the rule of ``designs.choose_primary``). ``performance`` is how that design did on made-up
    facilities with known truth; ``None`` where the study does not hold it.
    """

    series: str
    fixed_as: str
    primary: str
    rungs: tuple[Rung, ...]
    performance: Performance | None

    def of(self, design: str) -> Rung:
        """One rung by the name of its design; ``KeyError`` if it is not there."""
        return {rung.design: rung for rung in self.rungs}[design]

    @property
    def lead(self) -> Rung:
        """The rung that answers."""
        return self.of(self.primary)


def gather(strata: Strata, program: Program) -> tuple[Ladder, ...]:
    """One ladder for each series, the primary series first. The design that leads is the same for all of them."""
    first = program.analysis.series
    order = (first, *(series for series in SERIES if series != first))
    ladders: list[Ladder] = []
    for series in order:
        personal = strata.personal(series)
        found = designs.all_designs(strata.panel(series), personal, program.analysis.confidence)
        primary = ladders[0].primary if ladders else designs.choose_primary(found, program.analysis.design)
        ladders.append(
            Ladder(
                series=series,
                fixed_as=program.analysis.design,
                primary=primary,
                rungs=tuple(
                    rung(f"facility/{name}", series, item, personal.years_apart, program)
                    for name, item in found.items()
                ),
                performance=performance(primary),
            )
        )
    return tuple(ladders)


def rung(place: str, series: str, item: Designed, years_apart: float, program: Program) -> Rung:
    """A design's result as published numbers; ``place`` is the middle of their keys."""
    end = f"{place}/design/{series}"
    below = designs.background_ratio(item.design, years_apart)
    few = min(item.events1, item.events0) < program.thresholds.unreliable_below
    ratio = None
    if not item.reason:
        ratio = estimate(numbers.ratio, "ratio", end, item.estimate, item.lower, item.upper)
    return Rung(
        key=f"ratio/{end}",
        design=item.design,
        label=LABELS[item.design],
        series=series,
        ratio=ratio,
        p_value=numbers.p_value(f"p_value/{end}", item.p_value) if ratio else None,
        now_events=numbers.count(f"cases_with/{end}", round(item.events1)),
        now_hours=numbers.hours(f"hours_with/{end}", item.hours1),
        then_events=numbers.count(f"cases_without/{end}", round(item.events0)),
        then_hours=numbers.hours(f"hours_without/{end}", item.hours0),
        expected_error=item.expected_error,
        must_fall_below=numbers.ratio(f"must_fall_below/{end}", below),
        verdict=verdict_of(item, below),
        few=few,
        is_usable=item.is_usable,
        checks=item.checks,
        reason=item.reason,
    )


def verdict_of(item: Designed, below: float) -> str:
    """lower, higher, cannot_tell or no_ratio, read at the two decimals that are printed."""
    if item.reason or math.isnan(item.estimate):
        return NO_RATIO
    if round(item.upper, 2) < round(below, 2):
        return LOWER
    return HIGHER if round(item.lower, 2) > 1 else CANNOT_TELL
