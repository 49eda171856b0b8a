"""A health system: each facility's ratio, the pooled ratio, how far facilities differ, and a funnel of facilities."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from handling_review.evidence import numbers, unit_funnel, unit_spread
from handling_review.evidence.aggregates import Aggregates
from handling_review.evidence.contrast import CANNOT_TELL, Contrast, Estimate, contrast, direction_of
from handling_review.evidence.measure import Rate, measure
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.tally import COMPARISON_SERIES, SERIES, Tally
from handling_review.evidence.unit_funnel import UnitFunnel
from handling_review.evidence.unit_spread import UnitSpread
from handling_review.evidence.units import UnitRow, UnitsEvidence
from handling_review.program import Program
from handling_review.settings import Analysis
from handling_review.stats import pooling

FIRM_FACILITIES = 5  # with fewer the spread between facilities is a guess; common practice, no source


@dataclass(frozen=True)
class PooledRatio:
    """One series over all facilities: after training to before.

    ``common``: if one ratio held everywhere; ``average``: the middle of ratios that differ; ``prediction``: where the
    true ratio of one further facility would lie. ``spread`` is the standard deviation of the log ratio, ``same`` the
    p-value of one common ratio. Parts are ``None`` where the data do not carry them. ``verdict`` is lower, higher or
    cannot_tell by the range of the average; "" where there is none.
    """

    series: str
    facilities: Number
    cases_after: Number
    hours_after: Number
    cases_before: Number
    hours_before: Number
    common: Estimate | None
    average: Estimate | None
    prediction: tuple[Number, Number] | None
    spread: Number | None
    same: Number | None
    verdict: str


@dataclass(frozen=True)
class FacilityRow:
    """One facility: its own comparison of after and before training."""

    name: str
    run_id: str
    as_of: date
    change: Contrast


@dataclass(frozen=True)
class System:
    """All facilities, alphabetical. ``pooled`` has the primary series first, injuries not from handling last.

    ``units`` holds the facilities side by side as rates over the whole period; ``by_verdict`` how many facilities are
    lower, higher, or cannot tell by themselves.
    """

    start: date
    end: date
    series: str
    washout_days: int
    confidence: float
    few_below: int
    facilities: tuple[FacilityRow, ...]
    pooled: tuple[PooledRatio, ...]
    units: UnitsEvidence
    funnel: UnitFunnel
    spread: UnitSpread
    by_verdict: tuple[tuple[str, Number], ...]
    numbers: tuple[Number, ...]

    @property
    def primary(self) -> PooledRatio:
        """The pooled ratio of the series that all program files name."""
        return self.pooled[0]


def gather(held: Sequence[Aggregates]) -> System:
    """The system's evidence from its facilities' aggregates, which must share their definitions."""
    first = held[0]
    program = Program(path=Path("combine"), analysis=Analysis(series=first.series, confidence=first.confidence))
    order = (first.series, *(s for s in SERIES if s != first.series), COMPARISON_SERIES)
    sides = {one.facility: _by_phase(one) for one in held}
    rows = tuple(
        FacilityRow(
            one.facility, one.run_id, one.as_of, _change(one.facility, sides[one.facility], first.series, program)
        )
        for one in held
    )
    pooled = tuple(_pooled(series, [sides[one.facility] for one in held], first.confidence) for series in order)
    units = _side_by_side(held, sides, program)
    verdicts = [row.change.verdict for row in rows]
    found = System(
        start=first.start,
        end=first.end,
        series=first.series,
        washout_days=first.washout_days,
        confidence=first.confidence,
        few_below=max(one.few_below for one in held),
        facilities=rows,
        pooled=pooled,
        units=units,
        funnel=unit_funnel.gather(units),
        spread=unit_spread.gather(units, program),
        by_verdict=tuple(
            (verdict, numbers.count(f"facilities/{verdict}", verdicts.count(verdict), "facilities"))
            for verdict in ("lower", "higher", "cannot_tell", "few_cases", "no_data")
        ),
        numbers=(),
    )
    return replace(found, numbers=numbers.published(found))


_Phases = dict[tuple[str, str], Tally]  # by phase and series


def _by_phase(one: Aggregates) -> _Phases:
    whole: _Phases = {}
    for cell in one.cells:
        key = (cell.phase, cell.series)
        whole[key] = whole.get(key, Tally()) + Tally(cell.events, cell.hours)
    return whole


def _all_phases(sides: _Phases, series: str) -> Tally:
    whole = Tally()
    for (_, found), tally in sorted(sides.items()):
        if found == series:
            whole = whole + tally
    return whole


def _change(name: str, sides: _Phases, series: str, program: Program) -> Contrast:
    place = f"facility:{key_part(name)}"
    after, before = (
        measure(f"{place}/{phase}", series, sides.get((phase, series), Tally()), program)
        for phase in ("after", "before")
    )
    return contrast(
        f"{place}/before_after", "before_after", after, before, program, labels=("after training", "before training")
    )


def _pooled(series: str, facilities: Sequence[_Phases], confidence: float) -> PooledRatio:
    after = [sides.get(("after", series), Tally()) for sides in facilities]
    before = [sides.get(("before", series), Tally()) for sides in facilities]
    found = pooling.conditional(
        [t.events for t in after], [t.hours for t in after],
        [t.events for t in before], [t.hours for t in before], confidence,
    )  # fmt: skip
    end = f"system/{series}"
    average = _estimate("pooled_average", end, found.average)
    told = average or _estimate("pooled_common", end, found.common)
    heterogeneity = found.heterogeneity
    is_spread = not math.isnan(heterogeneity.tau)
    return PooledRatio(
        series=series,
        facilities=numbers.count(f"facilities/{end}", found.facilities, "facilities"),
        cases_after=numbers.count(f"cases_after/{end}", sum(t.events for t in after)),
        hours_after=numbers.hours(f"hours_after/{end}", math.fsum(t.hours for t in after)),
        cases_before=numbers.count(f"cases_before/{end}", sum(t.events for t in before)),
        hours_before=numbers.hours(f"hours_before/{end}", math.fsum(t.hours for t in before)),
        common=_estimate("pooled_common", end, found.common),
        average=average,
        prediction=(
            numbers.ratio(f"pooled_further_lower/{end}", found.prediction.lower),
            numbers.ratio(f"pooled_further_upper/{end}", found.prediction.upper),
        )
        if is_spread
        else None,
        spread=numbers.ratio(f"pooled_spread/{end}", heterogeneity.tau) if is_spread else None,
        same=numbers.p_value(f"p_one_ratio/{end}", heterogeneity.p_value) if is_spread else None,
        verdict="" if told is None else direction_of(_value(told.lower), _value(told.upper)),
    )


def _estimate(kind: str, end: str, found: pooling.Interval) -> Estimate | None:
    if math.isnan(found.estimate):
        return None
    return Estimate(
        numbers.ratio(f"{kind}/{end}", found.estimate),
        numbers.ratio(f"{kind}_lower/{end}", found.lower),
        numbers.ratio(f"{kind}_upper/{end}", found.upper),
    )


def _value(number: Number) -> float:
    return math.nan if number.value is None else number.value


def _side_by_side(held: Sequence[Aggregates], sides: dict[str, _Phases], program: Program) -> UnitsEvidence:
    """Facilities as rates over the whole period, all phases of training together."""
    series = program.analysis.series
    totals = {one.facility: _all_phases(sides[one.facility], series) for one in held}
    whole = Tally()
    for tally in totals.values():
        whole = whole + tally

    def rate(name: str, tally: Tally) -> Rate:
        return measure(f"facility:{key_part(name)}/whole-period", series, tally, program, hide_few=True)

    rows = tuple(
        UnitRow(name, name, "", None, False, rate(name, tally), rate(name, tally), None, "")
        for name, tally in totals.items()
    )
    system = measure("system/whole-period", series, whole, program)
    compared = sum(1 for row in rows if row.overall.rate is not None)
    return UnitsEvidence(
        series, (), held[0].quarters, rows, system, system, numbers.count("facilities_with_rate/system", compared)
    )


def is_firm(found: PooledRatio) -> bool:
    """Whether there are facilities enough for the spread between them to mean something."""
    return int(found.facilities.value or 0) >= FIRM_FACILITIES and found.verdict != ""


def disagree(found: System) -> bool:
    """Whether some facilities are lower and others higher by themselves."""
    told = dict(found.by_verdict)
    return bool(told["lower"].value and told["higher"].value)


__all__ = ["CANNOT_TELL", "FacilityRow", "PooledRatio", "System", "disagree", "gather", "is_firm"]
