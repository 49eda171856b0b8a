"""Interrupted time series: the level and the slope of the rate at the start of the program."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from handling_review.stats import _glm, _inputs
from handling_review.stats._inputs import BASE_HOURS, Array, Values
from handling_review.stats.ratios import Ratio

METHODS = ("quasi_poisson", "newey_west")
PERIODS_PER_YEAR = (4, 12)
FEWEST_PERIODS = 3  # on either side: two points fix a line, one more is needed to see it miss
WISHED_PERIODS = 8  # common practice, no source: fewer on a side and the slope is little more than a guess
_EVENTS_PER_PARAMETER = 10.0


@dataclass(frozen=True, eq=False)
class InterruptedSeries:
    """A segmented Poisson regression.

    Attributes:
        level: ratio of the rate just after the start to what the line before leads one to expect.
        slope: ratio of the yearly change after to the yearly change before.
        before_per_year: yearly change before the start, as a ratio.
        fitted_per_200k: fitted rate in each period, shape (n,).
        counterfactual_per_200k, counterfactual_lower, counterfactual_upper: rate had the line before gone
            on, with its band, shape (n,).
        dispersion: Pearson chi-square over residual degrees of freedom.
        lag1_correlation: of the Pearson residuals of neighbouring periods; far from 0 the Newey-West errors
            are the better ones.
        harmonics: pairs of seasonal terms.
        n_parameters: parameters fitted.
        notes: what was left out or should be read with care, as sentences.
    """

    level: Ratio
    slope: Ratio
    before_per_year: Ratio
    fitted_per_200k: Array
    counterfactual_per_200k: Array
    counterfactual_lower: Array
    counterfactual_upper: Array
    dispersion: float
    lag1_correlation: float
    harmonics: int
    n_parameters: int
    notes: tuple[str, ...]


def interrupted(
    events: Values,
    hours: Values,
    start: int,
    periods_per_year: int = 12,
    *,
    harmonics: int | None = None,
    confidence: float = 0.95,
    method: str = "quasi_poisson",
) -> InterruptedSeries:
    """Segmented Poisson regression of consecutive months or quarters with log hours as offset.

    log rate = a + b * years + c * (after) + d * years since the start * (after) + seasonal terms. The level
    change is exp(c) at the first day of period ``start``, the slope change exp(d) per year. Time runs through
    the middle of each period.

    Args:
        events, hours: one entry per period in order, shape (n,); periods without hours do not enter the fit.
        start: index of the first period of the program; at least three periods on either side.
        periods_per_year: 12 or 4.
        harmonics: pairs of seasonal terms; ``None`` takes two (months) or one (quarters) from 24 months on
            if there are ten events per parameter, else none.
        confidence: for example 0.95.
        method: ``quasi_poisson`` (errors times the square root of Pearson / df, floored at 1) or
            ``newey_west`` (errors that allow neighbouring periods to be alike, lags by n ** (1/4)).

    Returns:
        ``InterruptedSeries``. With no event on one side no such line exists: every estimate is ``nan`` with
        limits 0 and infinity, and a note says so.

    Raises:
        ValueError: bad counts or hours, ``start`` too near an end, unknown method or period.

    Source: Bernal, Cummins & Gasparrini 2017, Int J Epidemiol 46:348-355; Newey & West 1987, Econometrica
    55:703-708 (the number of lags: common practice, no source).
    """
    level_of_confidence = _inputs.share("confidence", confidence)
    _inputs.choice("method", method, METHODS)
    if periods_per_year not in PERIODS_PER_YEAR:
        raise ValueError(f"periods_per_year must be 4 or 12, got {periods_per_year!r}")
    y, t = _inputs.events_and_hours(events, hours)
    used = t > 0
    before, after = used[:start].sum(), used[start:].sum()
    if not 0 < start < y.size or min(before, after) < FEWEST_PERIODS:
        raise ValueError(f"start must leave {FEWEST_PERIODS} periods with hours before it and after it")
    notes = [f"{int((~used).sum())} periods without hours left out"] if not used.all() else []
    if min(before, after) < WISHED_PERIODS:
        notes.append(f"only {before} periods before and {after} after: read the slopes with care")
    pairs = _seasonal_pairs(y, int(used.sum()), periods_per_year, harmonics, notes)
    design = _design(y.size, start, periods_per_year, pairs)
    kept = _glm.independent_columns(design[used])
    if len(kept) < design.shape[1]:
        raise ValueError("harmonics must be fewer: the periods with hours cannot tell the terms apart")
    if min(y[:start].sum(), y[start:].sum()) == 0:
        return _without_fit(y.size, method, pairs, design.shape[1], (*notes, "no event on one side"))
    return _fitted(y, t, used, design, start, level_of_confidence, method, pairs, notes)


def _fitted(
    y: Array,
    t: Array,
    used: np.ndarray,
    design: Array,
    start: int,
    confidence: float,
    method: str,
    pairs: int,
    notes: list[str],
) -> InterruptedSeries:
    lags = math.floor(int(used.sum()) ** 0.25) if method == "newey_west" else None
    no_fit = _without_fit(y.size, method, pairs, design.shape[1], (*notes, "no finite estimate"))
    try:
        fit = _glm.poisson(y[used], t[used], design[used], lags=lags)
    except _glm.Diverged:
        return no_fit
    if np.abs(fit.coefficients[2]) > _glm.STEEP or not np.isfinite(fit.covariance).all():
        return no_fit
    df = max(fit.df_residual, 1)
    scale = fit.scale if method == "quasi_poisson" else 1.0
    reach = _glm.reach(confidence, df)

    def ratio(place: int) -> Ratio:
        log_ratio, error = float(fit.coefficients[place]), fit.standard_error(place, scale)
        lower, upper = (_glm.exp(log_ratio + sign * reach * error) for sign in (-1, 1))
        return Ratio(_glm.exp(log_ratio), lower, upper, _glm.two_sided_p(log_ratio / error, df), method)

    without = design.copy()
    without[:, 2:4] = 0
    line = without @ fit.coefficients
    band = reach * np.sqrt(scale * np.einsum("ij,jk,ik->i", without, fit.covariance, without))
    residuals = (y[used] - fit.fitted) / np.sqrt(fit.fitted)
    return InterruptedSeries(
        level=ratio(2),
        slope=ratio(3),
        before_per_year=ratio(1),
        fitted_per_200k=np.exp(design @ fit.coefficients) * BASE_HOURS,
        counterfactual_per_200k=np.exp(line) * BASE_HOURS,
        counterfactual_lower=np.exp(line - band) * BASE_HOURS,
        counterfactual_upper=np.exp(np.minimum(line + band, _glm.LARGEST_LOG - math.log(BASE_HOURS))) * BASE_HOURS,
        dispersion=fit.dispersion,
        lag1_correlation=_lag1(residuals),
        harmonics=pairs,
        n_parameters=design.shape[1],
        notes=tuple(notes),
    )


def _design(n: int, start: int, periods_per_year: int, pairs: int) -> Array:
    """Columns: 1, years from the start, after, years from the start if after, then sine and cosine pairs."""
    years = (np.arange(n) + 0.5 - start) / periods_per_year
    after = (np.arange(n) >= start).astype(np.float64)
    columns = [np.ones(n), years, after, years * after]
    for pair in range(1, pairs + 1):
        angle = 2 * math.pi * pair * np.arange(n) / periods_per_year
        columns += [np.sin(angle), np.cos(angle)]
    return np.column_stack(columns)


def _seasonal_pairs(y: Array, periods: int, periods_per_year: int, wished: int | None, notes: list[str]) -> int:
    most = periods_per_year // 2 - 1  # the next pair has a sine that is 0 in every period
    if wished is not None:
        if wished != int(wished) or not 0 <= wished <= most:
            raise ValueError(f"harmonics must be 0 to {most}, got {wished}")
        return int(wished)
    if y.size < 2 * periods_per_year:
        return 0
    pairs = min(2, most)
    if periods <= 4 + 2 * pairs:
        notes.append("too few periods with hours for seasonal terms")
        return 0
    if y.sum() < _EVENTS_PER_PARAMETER * (4 + 2 * pairs):
        notes.append("too few events for seasonal terms")
        return 0
    return pairs


def _lag1(residuals: Array) -> float:
    centred = residuals - residuals.mean()
    total = float((centred**2).sum())
    return float((centred[1:] * centred[:-1]).sum()) / total if total > 0 else math.nan


def _without_fit(n: int, method: str, pairs: int, n_parameters: int, notes: tuple[str, ...]) -> InterruptedSeries:
    unknown = Ratio(math.nan, 0.0, math.inf, 1.0, method)
    blank = np.full(n, math.nan)
    return InterruptedSeries(
        level=unknown,
        slope=unknown,
        before_per_year=unknown,
        fitted_per_200k=blank,
        counterfactual_per_200k=blank,
        counterfactual_lower=blank,
        counterfactual_upper=blank,
        dispersion=math.nan,
        lag1_correlation=math.nan,
        harmonics=pairs,
        n_parameters=n_parameters,
        notes=notes,
    )
