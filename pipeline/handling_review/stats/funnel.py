"""Funnel plot of units: how far a unit's rate may lie from the facility's by chance, given its hours."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from handling_review.stats import _inputs
from handling_review.stats._inputs import BASE_HOURS, Array, Values

KINDS = ("exact", "normal")
FEWEST_UNITS = 10  # with fewer the spread between units cannot be told from chance
_LEVELS = (0.95, 0.998)


@dataclass(frozen=True, eq=False)
class FunnelLimits:
    """Limits per 200,000 hours.

    Attributes:
        levels: probability inside each pair of limits.
        hours: shape (n,).
        lower, upper: shape (levels, n), in the order of ``levels``.
    """

    levels: tuple[float, ...]
    hours: Array
    lower: Array
    upper: Array


@dataclass(frozen=True, eq=False)
class Dispersion:
    """Whether the units spread more than Poisson counts around the target do.

    Attributes:
        phi: mean of the squared z-scores after winsorising; about 1 without extra spread.
        tau2: variance between units, (per 200,000 hours) squared; 0 when phi says there is none.
        statistic, p_value: units x phi against chi-square with as many degrees of freedom as units.
        z, z_winsorised: shape (units,).
        target_per_200k: rate the scores are taken from.
        widen: whether limits should be widened by tau2: at least ten units and p below 0.05.
    """

    phi: float
    tau2: float
    statistic: float
    p_value: float
    z: Array
    z_winsorised: Array
    target_per_200k: float
    widen: bool


def limits(
    rate: float,
    hours: Values,
    levels: tuple[float, ...] = _LEVELS,
    *,
    tau2: float = 0.0,
    kind: str = "exact",
) -> FunnelLimits:
    """Limits around a rate for units with the given hours.

    Args:
        rate: target per 200,000 hours (the facility's rate), above 0.
        hours: hours of the units, or of the points to draw the funnel through, above 0.
        levels: probability inside, for example 0.95 and 0.998.
        tau2: variance between units from ``dispersion``, if it should widen the limits.
        kind: ``exact`` (Poisson quantiles, interpolated between counts so that the lines are smooth) or
            ``normal``.

    Returns:
        ``FunnelLimits``; lower limits are cut at 0. With ``tau2`` the limits are target +- z sqrt(s^2 + tau2),
        and never inside those without it.

    Raises:
        ValueError: rate or hours not above 0, levels outside (0, 1), negative tau2, unknown kind.

    Source: Spiegelhalter 2005, Stat Med 24:1185-1202, with the interpolation of its appendix: limit
    r - (P(X <= r) - p) / P(X = r), r the smallest count with P(X <= r) >= p.
    """
    target = _inputs.positive_number("rate", rate)
    t = np.atleast_1d(_inputs.positive("hours", hours))
    extra = float(_inputs.not_negative("tau2", tau2))
    _inputs.choice("kind", kind, KINDS)
    inside = tuple(_inputs.share("levels", level) for level in levels)
    lower, upper = np.empty((len(inside), t.size)), np.empty((len(inside), t.size))
    error = np.sqrt(target * BASE_HOURS / t)
    for row, level in enumerate(inside):
        tail = (1 - level) / 2
        z = -float(special.ndtri(tail))
        if kind == "exact":
            expected = target * t / BASE_HOURS
            low = _interpolated(expected, tail) * BASE_HOURS / t
            high = _interpolated(expected, 1 - tail) * BASE_HOURS / t
        else:
            low, high = target - z * error, target + z * error
        if extra > 0:
            wide = z * np.sqrt(error**2 + extra)
            low, high = np.minimum(low, target - wide), np.maximum(high, target + wide)
        lower[row], upper[row] = np.maximum(low, 0.0), high
    return FunnelLimits(inside, t, lower, upper)


def dispersion(
    events: Values, hours: Values, target_per_200k: float | None = None, winsorise: float = 0.1
) -> Dispersion:
    """Spread of the units around the target beyond Poisson's.

    Args:
        events, hours: one entry per unit, hours above 0, at least two units.
        target_per_200k: ``None`` takes the rate of all units together.
        winsorise: share of units at either end whose z-scores are drawn in to the next one (rounded down to
            whole units), so that a few real outliers do not widen the limits that should show them.

    Returns:
        ``Dispersion``. z = (rate - target) / s with s = sqrt(target x 200000 / hours); tau2 = (I phi - (I - 1))
        / (sum w - sum w^2 / sum w) with w = 1 / s^2, not below 0.

    Raises:
        ValueError: bad counts or hours, fewer than two units, no event and no target, winsorise outside
            0 to below 0.5.

    Source: Spiegelhalter 2005, Stat Med 24:1185-1202 and Qual Saf Health Care 14:347-351.
    """
    y, t = (
        np.atleast_1d(values)
        for values in _inputs.same_length(
            events=_inputs.counts("events", events), hours=_inputs.positive("hours", hours)
        )
    )
    if y.size < 2:
        raise ValueError("events must be of two units or more")
    if not 0 <= winsorise < 0.5:
        raise ValueError(f"winsorise must be 0 to below 0.5, got {winsorise}")
    if target_per_200k is None and y.sum() == 0:
        raise ValueError("target_per_200k must be given when there is no event")
    pooled = float(y.sum() * BASE_HOURS / t.sum())
    target = pooled if target_per_200k is None else _inputs.positive_number("target", target_per_200k)
    error = np.sqrt(target * BASE_HOURS / t)
    z = (y * BASE_HOURS / t - target) / error
    drawn_in = math.floor(winsorise * y.size + 1e-9)
    ordered = np.sort(z)
    inner = np.clip(z, ordered[drawn_in], ordered[-1 - drawn_in])
    statistic = float((inner**2).sum())
    weight = 1 / error**2
    spare = float(weight.sum() - (weight**2).sum() / weight.sum())
    tau2 = max(0.0, (statistic - (y.size - 1)) / spare)
    p_value = float(special.chdtrc(y.size, statistic))
    return Dispersion(
        phi=statistic / y.size,
        tau2=tau2,
        statistic=statistic,
        p_value=p_value,
        z=z,
        z_winsorised=inner,
        target_per_200k=target,
        widen=y.size >= FEWEST_UNITS and p_value < 0.05,
    )


def _interpolated(expected: Array, p: float) -> Array:
    """Quantile of Poisson counts, interpolated between whole counts; may be negative."""
    r = np.maximum(0.0, np.floor(expected + float(special.ndtri(p)) * np.sqrt(expected)))
    while True:
        too_low = special.pdtr(r, expected) < p
        too_high = (r > 0) & (special.pdtr(np.maximum(r - 1, 0), expected) >= p)
        if not (too_low.any() or too_high.any()):
            break
        r = r + np.where(too_low, 1.0, np.where(too_high, -1.0, 0.0))
    point = np.exp(special.xlogy(r, expected) - expected - special.gammaln(r + 1))
    return np.asarray(r - (special.pdtr(r, expected) - p) / point, dtype=np.float64)
