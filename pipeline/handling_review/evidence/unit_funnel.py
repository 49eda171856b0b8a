"""The funnel of units: how far a unit's rate may lie from the facility's by chance, given its hours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.units import UnitsEvidence
from handling_review.stats import funnel

LEVELS = (0.95, 0.998)
CURVE_POINTS = 60
INSIDE, BEYOND_95, BEYOND_998 = "inside", "beyond 95%", "beyond 99.8%"


@dataclass(frozen=True)
class FunnelUnit:
    """One unit with enough cases for a rate, its own limits, and where it lies."""

    unit: str
    name: str
    events: Number
    hours: Number
    rate: Number
    lower_95: Number
    upper_95: Number
    lower_998: Number
    upper_998: Number
    where: str
    is_high: bool


@dataclass(frozen=True)
class UnitFunnel:
    """Units in alphabetical order, the line of the facility, and points to draw the limits through.

    ``curve`` holds hours, lower and upper 95 % limit, lower and upper 99.8 % limit. ``widened`` is true where the units
    spread more than chance gives and there are enough of them to widen the limits by that spread. ``left_out`` are
    units with too few cases for a rate. ``reason`` says why there is no funnel.
    """

    series: str
    target: Number | None
    units: tuple[FunnelUnit, ...]
    left_out: tuple[str, ...]
    curve: tuple[tuple[float, float, float, float, float], ...]
    spread: Number | None
    widened: bool
    reason: str


def gather(units: UnitsEvidence) -> UnitFunnel:
    """The funnel over all complete quarters, around the rate of the whole facility."""
    rows = [row for row in units.rows if (row.overall.hours.value or 0) > 0]
    rated = [row for row in rows if row.overall.rate is not None]
    left_out = tuple(row.name for row in rows if row.overall.rate is None)
    target = units.facility_overall.rate
    nothing = UnitFunnel(units.series, target, (), left_out, (), None, False, "")
    if len(rows) < 2 or not rated:
        return _without(nothing, "fewer than two units have hours, or none has enough cases for a rate")
    if target is None or not target.value:
        return _without(nothing, "the facility has no case")
    events = np.array([float(row.overall.events.value or 0) for row in rows])
    time = np.array([float(row.overall.hours.value or 0) for row in rows])
    spread = funnel.dispersion(events, time)
    tau2 = spread.tau2 if spread.widen else 0.0
    own = funnel.limits(target.value, np.array([row.overall.hours.value for row in rated]), LEVELS, tau2=tau2)
    at = np.linspace(float(time.min()) * 0.8, float(time.max()) * 1.08, CURVE_POINTS)
    line = funnel.limits(target.value, at, LEVELS, tau2=tau2)
    found = []
    for i, row in enumerate(rated):
        rate = row.overall.rate
        assert rate is not None
        limits = [float(side[level][i]) for level in (0, 1) for side in (own.lower, own.upper)]
        end = f"unit:{key_part(row.unit)}/all-quarters/{units.series}"
        names = ("funnel_lower_95", "funnel_upper_95", "funnel_lower_998", "funnel_upper_998")
        low95, high95, low998, high998 = (
            numbers.rate(f"{name}/{end}", value) for name, value in zip(names, limits, strict=True)
        )
        value = float(rate.value or 0)
        where = INSIDE
        if not limits[2] <= value <= limits[3]:
            where = BEYOND_998
        elif not limits[0] <= value <= limits[1]:
            where = BEYOND_95
        found.append(
            FunnelUnit(
                row.unit, row.name, row.overall.events, row.overall.hours, rate, low95, high95, low998, high998, where,
                value > target.value,
            )
        )  # fmt: skip
    return UnitFunnel(
        series=units.series,
        target=target,
        units=tuple(found),
        left_out=left_out,
        curve=tuple(
            (float(h), *(float(side[level][i]) for level in (0, 1) for side in (line.lower, line.upper)))  # type: ignore[misc]
            for i, h in enumerate(at)
        ),
        spread=numbers.decimal(f"funnel_spread/all-quarters/{units.series}", spread.phi, "times chance"),
        widened=spread.widen,
        reason="",
    )


def _without(found: UnitFunnel, reason: str) -> UnitFunnel:
    return UnitFunnel(found.series, found.target, (), found.left_out, (), None, False, reason)
