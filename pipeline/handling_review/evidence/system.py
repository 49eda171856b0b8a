"""A health system: each facility's ratio, the pooled ratio, how far facilities differ, and a funnel of facilities."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from handling_review.evidence import numbers, unit_funnel
from handling_review.evidence.aggregates import Aggregates
from handling_review.evidence.contrast import Contrast, Estimate, contrast, direction_of
from handling_review.evidence.measure import Rate, measure
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.stated import RULES, Settings, settings
from handling_review.evidence.tally import COMPARISON_SERIES, SERIES, Tally
from handling_review.evidence.unit_funnel import UnitFunnel
from handling_review.evidence.units import UnitRow, UnitsEvidence
from handling_review.program import Program
from handling_review.settings import Analysis, Thresholds, Training
from handling_review.stats import pooling

FIRM_FACILITIES = 5  # with fewer the spread between facilities is a guess; common practice, no source


@dataclass(frozen=True)
class PooledRatio:
    """One series over all facilities with hours on both sides: after training to before.

    ``facilities`` of them tell something (they have a case); ``silent`` are all others.
    ``common``: if one ratio held everywhere; ``average``: the middle of ratios that differ; ``prediction``: where the
    true ratio of one further facility would lie. ``spread`` is the standard deviation of the log ratio, ``same`` the
    p-value of one common ratio. Parts are ``None`` where the data do not carry them. ``verdict`` is lower, higher or
    cannot_tell by the range of the average; "" where there is none.
    """

    series: str
    facilities: Number
    silent: Number
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
    """One facility: its own comparison of after and before training; ``tallies`` by phase and series, in order."""

    name: str
    run_id: str
    as_of: date
    change: Contrast
    tallies: tuple[tuple[str, str, Tally], ...]


@dataclass(frozen=True)
class System:
    """All facilities, alphabetical. ``pooled`` has the primary series first, injuries not from handling last.

    ``units`` holds the facilities side by side as rates over the whole period; ``by_verdict`` how many facilities are
    lower, higher, or cannot tell by themselves. ``settings`` are those that all facilities share, but for the threshold
    of small cells, which is the lowest of theirs; ``stated`` the fixed rules that sentences name.
    """

    start: date
    end: date
    quarters: tuple[str, ...]
    series: str
    confidence: float
    settings: Settings
    stated: tuple[Number, ...]
    count: Number
    facilities: tuple[FacilityRow, ...]
    pooled: tuple[PooledRatio, ...]
    units: UnitsEvidence
    funnel: UnitFunnel
    by_verdict: tuple[tuple[str, Number], ...]
    numbers: tuple[Number, ...]

    @property
    def primary(self) -> PooledRatio:
        """The pooled ratio of the series that all program files name."""
        return self.pooled[0]


def gather(held: Sequence[Aggregates]) -> System:
    """The system's evidence from its facilities' aggregates, which must share their definitions."""
    first = held[0]
    program = Program(
        path=Path("combine"),
        analysis=Analysis(series=first.series, confidence=first.confidence),
        training=Training(washout_days=first.washout_days),
        thresholds=Thresholds(privacy_cell=min(one.few_below for one in held)),
    )
    order = (first.series, *(s for s in SERIES if s != first.series), COMPARISON_SERIES)
    sides = {one.facility: _by_phase(one) for one in held}
    rows = tuple(
        FacilityRow(
            one.facility,
            one.run_id,
            one.as_of,
            _change(one.facility, sides[one.facility], first.series, program),
            tuple((phase, series, tally) for (phase, series), tally in sorted(sides[one.facility].items())),
        )
        for one in held
    )
    pooled = tuple(_pooled(series, [sides[one.facility] for one in held], first.confidence) for series in order)
    units = _side_by_side(held, sides, program)
    verdicts = [row.change.verdict for row in rows]
    found = System(
        start=first.start,
        end=first.end,
        quarters=first.quarters,
        series=first.series,
        confidence=first.confidence,
        settings=settings(program),
        stated=(RULES.inner_one_in, RULES.outer_one_in),
        count=numbers.count("facilities/system", len(held), "facilities"),
        facilities=rows,
        pooled=pooled,
        units=units,
        funnel=_of_facilities(unit_funnel.gather(units)),
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


def _of_facilities(found: UnitFunnel) -> UnitFunnel:
    """The funnel of units with the keys of facilities."""

    def renamed(number: Number) -> Number:
        return replace(number, key=number.key.replace("/unit:", "/facility:"))

    rows = tuple(
        replace(
            unit,
            lower_95=renamed(unit.lower_95),
            upper_95=renamed(unit.upper_95),
            lower_998=renamed(unit.lower_998),
            upper_998=renamed(unit.upper_998),
        )
        for unit in found.units
    )
    return replace(found, units=rows)


def _pooled(series: str, facilities: Sequence[_Phases], confidence: float) -> PooledRatio:
    sides = [(one.get(("after", series), Tally()), one.get(("before", series), Tally())) for one in facilities]
    both = [(after, before) for after, before in sides if after.hours > 0 and before.hours > 0]
    after, before = [one for one, _ in both], [one for _, one in both]
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
        silent=numbers.count(f"facilities_silent/{end}", len(facilities) - found.facilities, "facilities"),
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
        series, (), held[0].quarters, rows, system, system,
        numbers.count("facilities_with_rate/system", compared, "facilities"),
    )  # fmt: skip


def is_firm(found: PooledRatio) -> bool:
    """Whether there are facilities enough for the spread between them to mean something."""
    return int(found.facilities.value or 0) >= FIRM_FACILITIES and found.verdict != ""


def disagree(found: System) -> bool:
    """Whether some facilities are lower and others higher by themselves."""
    told = dict(found.by_verdict)
    return bool(told["lower"].value and told["higher"].value)
