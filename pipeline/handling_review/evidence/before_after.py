"""Did the rate change with training: before and after each person's own training date, with washout."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from handling_review.evidence import numbers
from handling_review.evidence.contrast import Contrast, contrast
from handling_review.evidence.measure import Rate, measure
from handling_review.evidence.numbers import Number
from handling_review.evidence.rates import as_date
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.tally import COMPARISON_SERIES, PHASES, SERIES, PersonTime, Tally
from handling_review.evidence.turning import TurningPoint, turning_point
from handling_review.program import Program

DESIGN_LABEL = "before and after, whole facility, with washout"
# A yearly fall of 3 to 4 % with no program at all: all private industry, recordable cases, 5.0 in 2003 to
# 2.3 in 2024 (BLS, Survey of Occupational Injuries and Illnesses) is 3.6 % a year.
YEARLY_FALL = (0.03, 0.04)


@dataclass(frozen=True)
class Phase:
    """Cases, hours and rates of all series in one phase of training; ``in_contrast`` for the two compared."""

    phase: str
    in_contrast: bool
    hours: Number
    hours_share: Number
    rates: tuple[Rate, ...]

    def of(self, series: str) -> Rate:
        """The rate of one series; ``KeyError`` if it is not there."""
        return {rate.series: rate for rate in self.rates}[series]


@dataclass(frozen=True)
class Background:
    """How far apart the two phases lie, and the ratio that a national fall alone would give.

    ``years_apart`` is the distance between the hours-weighted mid-points of the two phases, taking each
    quarter's hours at its middle.
    """

    years_apart: Number
    ratio_if_slow_fall: Number
    ratio_if_fast_fall: Number


@dataclass(frozen=True)
class Unclassified:
    """Cases whose relation to handling could not be decided, and what they could do to the answer."""

    cases_before: Number
    cases_after: Number
    share: Number
    leads: bool
    all_counted: Contrast
    most_favourable: Contrast
    least_favourable: Contrast


@dataclass(frozen=True)
class BeforeAfter:
    """The before and after comparison over the complete quarters.

    ``contrasts`` holds one comparison per series, the primary series first and the injuries that do not
    come from handling last. ``turning`` says what would change the answer. ``left_out_cases`` and ``left_out_hours``
    are those of incomplete quarters, which leave together. ``trained_hours_last_quarter`` are the hours after
    training of the latest complete quarter.
    """

    design: str
    washout_days: int
    quarters: tuple[str, ...]
    phases: tuple[Phase, ...]
    contrasts: tuple[Contrast, ...]
    unclassified: Unclassified
    background: Background | None
    turning: TurningPoint | None
    target_ratio: Number
    left_out_cases: Number
    left_out_hours: Number
    trained_hours_last_quarter: Number

    @property
    def primary(self) -> Contrast:
        """The comparison fixed in the program file."""
        return self.contrasts[0]

    @property
    def comparison(self) -> Contrast:
        """The same comparison for injuries that do not come from handling."""
        return self.contrasts[-1]

    def phase(self, name: str) -> Phase:
        """One phase by name; ``KeyError`` if it is not there."""
        return {phase.phase: phase for phase in self.phases}[name]


def gather(tables: ResultTables, quarters: tuple[str, ...], program: Program) -> BeforeAfter:
    """The before and after comparison over ``quarters`` (the complete ones, in order)."""
    everything = PersonTime(tables.person_time)
    table = everything.within(quarters)
    by_phase = table.by("phase")
    phases = _phases(by_phase, program)
    named = {phase.phase: phase for phase in phases}
    ever = everything.by("phase")
    primary = program.analysis.series
    counts_only = all(ever.get((p, primary), Tally()).hours > 0 for p in ("before", "after")) and not all(
        named[p].of(primary).hours.value for p in ("before", "after")
    )
    order = (primary, *(s for s in SERIES if s != primary), COMPARISON_SERIES)
    contrasts = tuple(
        contrast(
            "facility/before_after",
            "before_after",
            named["after"].of(series),
            named["before"].of(series),
            program,
            labels=("after training", "before training"),
            counts_only=counts_only,
        )
        for series in order
    )
    left_out = _sum(ever, primary) - _sum(by_phase, primary)
    pace = _hours_last_quarter(table, quarters, primary)
    return BeforeAfter(
        design=DESIGN_LABEL,
        washout_days=program.training.washout_days,
        quarters=quarters,
        phases=phases,
        contrasts=contrasts,
        unclassified=_unclassified(tables, quarters, by_phase, program, counts_only),
        background=_background(table, tables),
        turning=turning_point(contrasts[0], program),
        target_ratio=numbers.ratio("setting/target_ratio", 1 - program.analysis.target_reduction),
        left_out_cases=numbers.count(f"cases/facility/incomplete-quarters/{primary}", left_out.events),
        left_out_hours=numbers.hours("hours/facility/incomplete-quarters", left_out.hours),
        trained_hours_last_quarter=numbers.hours("hours/facility/latest-quarter/after", pace),
    )


def _hours_last_quarter(table: PersonTime, quarters: tuple[str, ...], series: str) -> float:
    """Hours after training in the latest complete quarter: what a coming quarter can be expected to add."""
    if not quarters:
        return 0.0
    return table.by("quarter", "phase").get((quarters[-1], "after", series), Tally()).hours


def _sum(tallies: Mapping[tuple[object, ...], Tally], series: str) -> Tally:
    whole = Tally()
    for phase in PHASES:
        whole = whole + tallies.get((phase, series), Tally())
    return whole


def _phases(by_phase: Mapping[tuple[object, ...], Tally], program: Program) -> tuple[Phase, ...]:
    primary = program.analysis.series
    all_hours = _sum(by_phase, primary).hours
    found = []
    for phase in PHASES:
        hours = by_phase.get((phase, primary), Tally()).hours
        found.append(
            Phase(
                phase=phase,
                in_contrast=phase in ("before", "after"),
                hours=numbers.hours(f"hours/facility/{phase}", hours),
                hours_share=numbers.share(f"hours_share/facility/{phase}", hours / all_hours if all_hours else 0.0),
                rates=tuple(
                    measure(f"facility/{phase}", series, by_phase.get((phase, series), Tally(0, hours)), program)
                    for series in (*SERIES, COMPARISON_SERIES)
                ),
            )
        )
    return tuple(found)


def _unclassified(
    tables: ResultTables,
    quarters: tuple[str, ...],
    by_phase: Mapping[tuple[object, ...], Tally],
    program: Program,
    counts_only: bool,
) -> Unclassified:
    """The handling comparison with the undecided cases counted in: on both sides, and on one side only."""
    frame = tables.unclassified[tables.unclassified["quarter"].isin(list(quarters))]
    extra = {phase: int(frame.loc[frame["phase"] == phase, "events"].sum()) for phase in ("before", "after")}
    undecided = int(frame["events"].sum())
    decided = _sum(by_phase, "handling").events
    both = undecided + decided
    share = undecided / both if both else 0.0

    def bound(name: str, before: int, after: int) -> Contrast:
        old = by_phase.get(("before", "handling"), Tally())
        new = by_phase.get(("after", "handling"), Tally())
        return contrast(
            f"facility/{name}",
            name,
            measure(f"facility/{name}-after", "handling", new + Tally(after), program),
            measure(f"facility/{name}-before", "handling", old + Tally(before), program),
            program,
            labels=("after training", "before training"),
            counts_only=counts_only,
        )

    return Unclassified(
        cases_before=numbers.count("cases/facility/before/unclassified", extra["before"]),
        cases_after=numbers.count("cases/facility/after/unclassified", extra["after"]),
        share=numbers.share("share/facility/unclassified", share),
        leads=share > program.thresholds.handling_share_unclassified,
        all_counted=bound("unclassified_all", extra["before"], extra["after"]),
        most_favourable=bound("unclassified_before_only", extra["before"], 0),
        least_favourable=bound("unclassified_after_only", 0, extra["after"]),
    )


def _background(table: PersonTime, tables: ResultTables) -> Background | None:
    """Distance in time between the two phases and what a national fall alone would do over it."""
    by_quarter = table.by("quarter", "phase")
    middle_of = {
        str(q["quarter"]): (as_date(q["quarter_start"]).toordinal() + as_date(q["quarter_end"]).toordinal())
        / 2
        / 365.25
        for q in tables.quarters.to_dict("records")
    }
    middles = {}
    for phase in ("before", "after"):
        weights = [
            (middle_of[str(key[0])], tally.hours)
            for key, tally in by_quarter.items()
            if key[1] == phase and key[2] == "handling"
        ]
        hours = math.fsum(weight for _, weight in weights)
        if not hours:
            return None
        middles[phase] = math.fsum(middle * weight for middle, weight in weights) / hours
    apart = middles["after"] - middles["before"]
    slow, fast = ((1 - fall) ** apart for fall in YEARLY_FALL)
    place = "facility/before_after"
    return Background(
        years_apart=numbers.years(f"years_apart/{place}", apart),
        ratio_if_slow_fall=numbers.ratio(f"ratio_if_slow_fall/{place}", slow),
        ratio_if_fast_fall=numbers.ratio(f"ratio_if_fast_fall/{place}", fast),
    )
