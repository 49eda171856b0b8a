"""Interrupted series: the facility's units with the program together, and each unit with enough data."""

from __future__ import annotations

import math
from dataclasses import dataclass

from handling_review.evidence import numbers
from handling_review.evidence.contrast import Estimate, estimate
from handling_review.evidence.designs_by_unit import series_of
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.panel import FEWEST_QUARTERS, Array, Flags
from handling_review.evidence.strata_table import Strata
from handling_review.program import Program
from handling_review.stats import rates, series
from handling_review.stats.ratios import Ratio
from handling_review.stats.series import InterruptedSeries

FEWEST_CASES = 5  # on either side: a line through fewer cases is drawn by chance
QUARTERS_A_YEAR = 4


@dataclass(frozen=True)
class SeriesPoint:
    """One quarter: the rate seen, the fitted line, and the line before the start had it gone on, with its band."""

    quarter: str
    seen: Number | None
    fitted: Number | None
    had_nothing_changed: Number | None
    lower: Number | None
    upper: Number | None


@dataclass(frozen=True)
class StartSeries:
    """One series of quarters with a start.

    ``start`` is the first quarter after the start in the fit; ``level`` the step there, ``slope`` the yearly change
    after over that before, ``before_per_year`` the yearly change before. ``newey_west`` is the step with errors that
    allow neighbouring quarters to be alike. ``reason`` says why there is no fit.
    """

    unit: str
    start: str
    points: tuple[SeriesPoint, ...]
    level: Estimate | None
    slope: Estimate | None
    before_per_year: Estimate | None
    newey_west: Estimate | None
    notes: tuple[str, ...]
    reason: str


def gather(strata: Strata, program: Program) -> tuple[StartSeries, ...]:
    """The facility ("all units with the program") first, then every unit that starts, in alphabetical order."""
    column = program.analysis.series
    panel = strata.panel(column)
    names: list[tuple[str, Flags]] = [("", ~panel.is_comparison)]
    names += [(unit, panel.unit == i) for i, unit in enumerate(strata.units) if unit in strata.starts]
    found = []
    for unit, rows in names:
        events, hours, start = series_of(panel, rows, len(strata.quarters))
        found.append(_one(unit, events, hours, start, strata.quarters, program))
    return tuple(found)


def _one(
    unit: str, events: Array, hours: Array, start: int, quarters: tuple[str, ...], program: Program
) -> StartSeries:
    place = f"{'unit/' + key_part(unit) if unit else 'facility'}/series/{program.analysis.series}"
    seen = [
        numbers.rate(f"series_seen/{place}/{quarter}", float(rates.rate(y, t))) if t > 0 else None
        for quarter, y, t in zip(quarters, events.tolist(), hours.tolist(), strict=True)
    ]
    label = quarters[start] if start < len(quarters) else ""

    def without(reason: str) -> StartSeries:
        points = tuple(
            SeriesPoint(quarter, value, None, None, None, None) for quarter, value in zip(quarters, seen, strict=True)
        )
        return StartSeries(unit, label, points, None, None, None, None, (), reason)

    before, after = slice(0, start), slice(start, None)
    if min((hours[before] > 0).sum(), (hours[after] > 0).sum()) < FEWEST_QUARTERS:
        return without(f"fewer than {FEWEST_QUARTERS} quarters before or after the start")
    if min(events[before].sum(), events[after].sum()) < FEWEST_CASES:
        return without(f"fewer than {FEWEST_CASES} cases before or after the start")
    level = program.analysis.confidence
    fit = series.interrupted(events, hours, start, QUARTERS_A_YEAR, confidence=level)
    if math.isnan(fit.level.estimate):
        return without("no line could be fitted")
    other = series.interrupted(events, hours, start, QUARTERS_A_YEAR, confidence=level, method="newey_west")

    def ratio(kind: str, found: Ratio) -> Estimate:
        return estimate(numbers.ratio, kind, place, found.estimate, found.lower, found.upper)

    return StartSeries(
        unit=unit,
        start=label,
        points=_points(quarters, seen, fit, start, place),
        level=ratio("series_step", fit.level),
        slope=ratio("series_slope", fit.slope),
        before_per_year=ratio("series_before_per_year", fit.before_per_year),
        newey_west=ratio("series_step_newey_west", other.level),
        notes=fit.notes,
        reason="",
    )


def _points(
    quarters: tuple[str, ...], seen: list[Number | None], fit: InterruptedSeries, start: int, place: str
) -> tuple[SeriesPoint, ...]:
    points = []
    for i, quarter in enumerate(quarters):
        line = numbers.rate(f"series_fitted/{place}/{quarter}", float(fit.fitted_per_200k[i]))
        if i < start:
            points.append(SeriesPoint(quarter, seen[i], line, None, None, None))
            continue
        points.append(
            SeriesPoint(
                quarter,
                seen[i],
                line,
                numbers.rate(f"series_unchanged/{place}/{quarter}", float(fit.counterfactual_per_200k[i])),
                numbers.rate(f"series_unchanged_lower/{place}/{quarter}", float(fit.counterfactual_lower[i])),
                numbers.rate(f"series_unchanged_upper/{place}/{quarter}", float(fit.counterfactual_upper[i])),
            )
        )
    return tuple(points)
