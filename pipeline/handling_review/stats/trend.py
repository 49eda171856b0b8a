"""Trends: the change of a rate per year, and across ordered bands such as time since training."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from handling_review.stats import _glm, _inputs, _tilted
from handling_review.stats._inputs import Array, Values
from handling_review.stats.ratios import METHODS, Ratio

FEWEST_PERIODS = 3


@dataclass(frozen=True)
class AnnualChange:
    """Change of a rate per year in percent (-10 is a fall by a tenth each year), with its interval.

    ``dispersion`` is Pearson chi-square over residual degrees of freedom. With no event at all ``percent`` is
    ``nan`` and the interval runs from -100 to infinity.
    """

    percent: float
    lower: float
    upper: float
    p_value: float
    dispersion: float
    notes: tuple[str, ...] = ()


def annual_change(events: Values, hours: Values, years: Values, confidence: float = 0.95) -> AnnualChange:
    """Percent change of the rate per year from a Poisson line through the periods.

    Args:
        events, hours: one entry per period; periods without hours are left out. At least three remain.
        years: time of each period in years (2023.25), any origin.
        confidence: for example 0.95.

    Returns:
        ``AnnualChange``; errors widened by the square root of the dispersion where it is above 1, t with
        n - 2 degrees of freedom.

    Raises:
        ValueError: bad counts or hours, fewer than three periods, all at one time.

    Source: McCullagh & Nelder 1989, Generalized Linear Models, ch. 6.
    """
    level = _inputs.share("confidence", confidence)
    y, t, x = (
        np.atleast_1d(values)
        for values in _inputs.same_length(
            events=_inputs.counts("events", events),
            hours=_inputs.not_negative("hours", hours),
            years=_inputs.numbers("years", years),
        )
    )
    if ((t == 0) & (y > 0)).any():
        raise ValueError("hours must be above 0 wherever there are events")
    used = t > 0
    notes = (f"{int((~used).sum())} periods without hours left out",) if not used.all() else ()
    y, t, x = y[used], t[used], x[used]
    if y.size < FEWEST_PERIODS or np.ptp(x) == 0:
        raise ValueError(f"years must hold {FEWEST_PERIODS} periods with hours, at more than one time")
    if y.sum() == 0:
        return AnnualChange(math.nan, -100.0, math.inf, 1.0, math.nan, (*notes, "no event at all"))
    no_slope = AnnualChange(
        math.nan, -100.0, math.inf, 1.0, math.nan, (*notes, "all events at one end: no finite slope")
    )
    try:
        fit = _glm.poisson(y, t, np.column_stack([np.ones(x.size), x - x.mean()]))
    except _glm.Diverged:
        return no_slope
    slope, error = float(fit.coefficients[1]), fit.standard_error(1, fit.scale)
    if abs(slope * float(np.ptp(x))) > 2 * _glm.STEEP or not math.isfinite(error):
        return no_slope
    reach = _glm.reach(level, fit.df_residual)
    lower, upper = (math.expm1(min(_glm.LARGEST_LOG, slope + sign * reach * error)) * 100 for sign in (-1, 1))
    p_value = _glm.two_sided_p(slope / error, fit.df_residual)
    return AnnualChange(math.expm1(slope) * 100, lower, upper, p_value, fit.dispersion, notes)


def across_bands(events: Values, hours: Values, confidence: float = 0.95, method: str = "mid_p") -> Ratio:
    """Ratio of the rate from each ordered band to the next, with its exact conditional interval.

    Bands count as one step apart (0-3, 3-6, 6-12, 12-24, over 24 months since training). Given the number
    of events and the hours, the sum of the band numbers over all events has a distribution that only the
    ratio per step enters. With two bands this is ``ratios.rate_ratio`` of the second to the first.

    Args:
        events, hours: one entry per band in order; bands without hours keep their place in the order.
        confidence, method: as in ``ratios.rate_ratio``.

    Returns:
        ``Ratio``: the maximum likelihood ratio per step, and the p-value of no trend. 0, infinite or ``nan``
        where all events lie at one end, or there are none.

    Raises:
        ValueError: bad counts or hours, fewer than two bands with hours, unknown method.

    Source: conditional score of the log-linear trend, Breslow & Day 1987, vol. II, ch. 3-4; exact here by
    adding up the distribution of the score.
    """
    tail = (1 - _inputs.share("confidence", confidence)) / 2
    _inputs.choice("method", method, METHODS)
    y, t = _inputs.events_and_hours(events, hours)
    used = np.flatnonzero(t > 0)
    if used.size < 2:
        raise ValueError("hours must be above 0 in two bands or more")
    y, t = y[used[0] : used[-1] + 1], t[used[0] : used[-1] + 1]
    score, total = float((y * np.arange(y.size)).sum()), int(y.sum())
    if total == 0:
        return Ratio(math.nan, 0.0, math.inf, 1.0, method)
    distribution = _score_distribution(t, total, score)
    lower, upper = distribution.limits(tail, method == "mid_p")
    estimate = math.exp(distribution.centre)
    if distribution.at_bottom or distribution.at_top:
        estimate = 0.0 if distribution.at_bottom else math.inf
    return Ratio(estimate, lower, upper, distribution.p_value(0.0, method == "mid_p"), method)


def _score_distribution(hours: Array, total: int, score: float) -> _tilted.Tilted:
    """The sum of band numbers of ``total`` events, tilted so that its mean is the score seen."""
    bands = np.arange(hours.size, dtype=np.float64)
    with np.errstate(divide="ignore"):
        log_hours = np.log(hours)
    last = float(bands[-1])
    wanted = min(max(score / total, 0.5 / total), last - 0.5 / total)

    def log_sum(log_ratio: float) -> float:
        return float(np.logaddexp.reduce(log_hours + bands * log_ratio))

    def excess(log_ratio: float) -> float:
        return float((bands * np.exp(log_hours + bands * log_ratio - log_sum(log_ratio))).sum()) - wanted

    low, high = -1.0, 1.0
    while excess(low) > 0:
        low *= 2
    while excess(high) < 0:
        high *= 2
    centre = _tilted.root(excess, low, high)
    start, weights = _power(np.exp(log_hours + bands * centre - log_sum(centre)), total)

    def log_scale(log_ratio: float) -> float:
        return total * (log_sum(log_ratio) - log_sum(centre)) - score * (log_ratio - centre)

    with np.errstate(divide="ignore"):
        log_weights = np.log(weights)
    steps = np.arange(weights.size, dtype=np.float64) + (start - score)
    return _tilted.Tilted(steps, log_weights, centre, log_scale, score == 0, score == last * total)


def _power(single: Array, times: int) -> tuple[int, Array]:
    """Start and probabilities of the sum of ``times`` independent copies, by repeated doubling."""
    result: tuple[int, Array] = (0, np.ones(1))
    square: tuple[int, Array] = (0, single)
    while True:
        if times % 2:
            result = _tilted.convolve(result, square)
        times //= 2
        if not times:
            return result
        square = _tilted.convolve(square, square)
