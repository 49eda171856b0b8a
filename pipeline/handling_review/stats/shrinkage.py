"""Unit rates drawn towards the facility's rate, and what chance alone does to units picked as the worst."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from handling_review.stats import _inputs, _tilted
from handling_review.stats._inputs import BASE_HOURS, Array, Values

METHODS = ("ml", "marshall")
_FLATTEST = 1e7  # prior shape above which the units do not differ beyond chance
_NODES = 96  # quadrature points for the probability of being among the worst


@dataclass(frozen=True)
class Prior:
    """Gamma distribution of true unit rates.

    Attributes:
        shape: infinite when the units do not differ beyond chance.
        mean_per_200k: mean true rate per 200,000 hours.
        hours: hours that the prior is worth (infinite with the shape): a unit with as many hours is drawn
            half way to the mean.
        method: ``ml`` or ``marshall``.
        log_likelihood: of the counts, at the maximum; ``nan`` for ``marshall``.
    """

    shape: float
    mean_per_200k: float
    hours: float
    method: str
    log_likelihood: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class ShrunkRates:
    """True unit rates given their counts, per 200,000 hours, shape (units,).

    Attributes:
        prior: the distribution they were drawn towards.
        mean, sd: of the posterior gamma distribution.
        lower, upper: its central interval.
        weight_on_prior: share of the prior mean in ``mean``.
        worst_quarter: probability that the unit's true rate is among the highest quarter of the units
            (the highest ``ceil(units / 4)``).
    """

    prior: Prior
    mean: Array
    sd: Array
    lower: Array
    upper: Array
    weight_on_prior: Array
    worst_quarter: Array


@dataclass(frozen=True)
class RegressionToMean:
    """What to expect of units chosen for their bad record if nothing at all is done.

    Attributes:
        observed_per_200k: their rate together, over the record they were chosen by.
        expected_per_200k: the rate to expect of them next, from the shrunk rates.
        ratio: expected over observed; 0.8 means that a fall by 20 % would come by itself.
    """

    observed_per_200k: float
    expected_per_200k: float
    ratio: float


def gamma_poisson(events: Values, hours: Values, method: str = "ml", confidence: float = 0.95) -> ShrunkRates:
    """Empirical Bayes rates: each unit's own record weighed against the spread of all units.

    Args:
        events, hours: one entry per unit, at least two units, hours above 0.
        method: ``"ml"`` (marginal likelihood; the counts are negative binomial) or ``"marshall"`` (moments).
            Where the likelihood has its maximum at no spread, or the moments give a variance of 0 or less,
            every unit is drawn all the way to the overall rate, and a note says so.
        confidence: of the central posterior interval.

    Returns:
        ``ShrunkRates`` per 200,000 hours. The uncertainty of the prior itself is not in the intervals.

    Raises:
        ValueError: bad counts or hours, fewer than two units, unknown method.

    Source: Gaver & O'Muircheartaigh 1987, Technometrics 29:1-15; Marshall 1991, J R Stat Soc C 40:283-294
    (global moment estimator).
    """
    y, t = _checked(events, hours)
    tail = (1 - _inputs.share("confidence", confidence)) / 2
    _inputs.choice("method", method, METHODS)
    prior = _ml(y, t) if method == "ml" else _marshall(y, t)
    if math.isinf(prior.shape):
        flat, none = np.full(y.size, prior.mean_per_200k), np.zeros(y.size)
        equal = np.full(y.size, math.ceil(y.size / 4) / y.size)
        return ShrunkRates(prior, flat, none, flat, flat, np.ones(y.size), equal)
    shape, time = y + prior.shape, (t + prior.hours) / BASE_HOURS
    return ShrunkRates(
        prior=prior,
        mean=shape / time,
        sd=np.sqrt(shape) / time,
        lower=np.asarray(special.gammaincinv(shape, tail) / time),
        upper=np.asarray(special.gammainccinv(shape, tail) / time),
        weight_on_prior=prior.hours / (t + prior.hours),
        worst_quarter=_among_worst(shape, time, math.ceil(y.size / 4)),
    )


def regression_to_mean(events: Values, hours: Values, chosen: Values, method: str = "ml") -> RegressionToMean:
    """Expected "improvement" of units that were chosen because their record was bad.

    Args:
        events, hours: all units that could have been chosen, over the record the choice was made by.
        chosen: true or 1 for the chosen units, at least one.
        method: as in ``gamma_poisson``.

    Returns:
        ``RegressionToMean``, the chosen units taken together by their hours.

    Raises:
        ValueError: as in ``gamma_poisson``; nobody chosen, or chosen units without any event.

    Source: Morton & Torgerson 2003, BMJ 326:1083-1084 (regression to the mean); expectation under the
    gamma-Poisson model.
    """
    y, t = _checked(events, hours)
    picked = _inputs.numbers("chosen", np.asarray(chosen, dtype=np.float64)) != 0
    if picked.shape != y.shape or not picked.any() or y[picked].sum() == 0:
        raise ValueError("chosen must mark, for each unit, at least one unit with events")
    shrunk = gamma_poisson(y, t, method).mean[picked]
    weights = t[picked] / t[picked].sum()
    observed = float(y[picked].sum() * BASE_HOURS / t[picked].sum())
    expected = float((shrunk * weights).sum())
    return RegressionToMean(observed, expected, expected / observed)


def _checked(events: Values, hours: Values) -> tuple[Array, Array]:
    y, t = (
        np.atleast_1d(values)
        for values in _inputs.same_length(
            events=_inputs.counts("events", events), hours=_inputs.positive("hours", hours)
        )
    )
    if y.size < 2:
        raise ValueError("events must be of two units or more")
    return y, t


def _overall(y: Array, t: Array, method: str) -> Prior:
    mean = float(y.sum() * BASE_HOURS / t.sum())
    expected = t * (y.sum() / t.sum())
    logs = special.xlogy(y, expected) - expected - special.gammaln(y + 1)
    note = "the units do not differ beyond chance: every unit has the overall rate"
    likelihood = float(logs.sum()) if method == "ml" else math.nan
    return Prior(math.inf, mean, math.inf, method, likelihood, (note,))


def _marshall(y: Array, t: Array) -> Prior:
    """Between-unit variance s2 - mean / mean(t), with s2 weighted by hours; prior by its moments."""
    time = t / BASE_HOURS
    mean = float(y.sum() / time.sum())
    spread = float((time * (y / time - mean) ** 2).sum() / time.sum())
    between = spread - mean / float(time.mean())
    if not between > 0:
        return _overall(y, t, "marshall")
    return Prior(mean**2 / between, mean, mean / between * BASE_HOURS, "marshall", math.nan)


def _ml(y: Array, t: Array) -> Prior:
    """Negative binomial likelihood; for each shape the best mean, then the best shape."""
    from scipy import optimize

    time = t / t.mean()

    def loss(log_shape: float) -> float:
        return -_log_likelihood(y, time, math.exp(log_shape), _best_mean(y, time, math.exp(log_shape)))

    grid = np.linspace(math.log(1e-3), math.log(_FLATTEST), 60)
    losses = [loss(float(x)) for x in grid] if y.sum() > 0 else [0.0]
    best = int(np.argmin(losses))
    if y.sum() == 0 or best == len(losses) - 1:
        return _overall(y, t, "ml")
    around = (grid[max(best - 1, 0)], grid[best + 1])
    found = optimize.minimize_scalar(loss, bounds=around, method="bounded", options={"xatol": 1e-10})
    shape = _polished(y, time, float(found.x))
    mean = _best_mean(y, time, shape)
    likelihood = _log_likelihood(y, time, shape, mean)
    if likelihood <= _overall(y, t, "ml").log_likelihood + 1e-9:
        return _overall(y, t, "ml")
    scale = BASE_HOURS / float(t.mean())
    return Prior(shape, mean * scale, shape / mean * float(t.mean()), "ml", likelihood)


def _polished(y: Array, time: Array, log_shape: float) -> float:
    """The root of the likelihood's slope next to a minimiser's answer, to all digits."""

    def slope(log_value: float) -> float:
        shape = math.exp(log_value)
        mean = _best_mean(y, time, shape)
        parts = special.digamma(y + shape) - special.digamma(shape) - np.log1p(time * mean / shape)
        return float((parts + (time * mean - y) / (shape + time * mean)).sum())

    low, high = log_shape - 0.01, log_shape + 0.01
    if not slope(low) > 0 > slope(high):
        return math.exp(log_shape)
    return math.exp(_tilted.root(slope, low, high))


def _best_mean(y: Array, time: Array, shape: float) -> float:
    """The mean rate at which the likelihood is largest for a given shape."""
    rates = y / time
    low, high = float(rates.min()), float(rates.max())
    if low == high:
        return low
    return _tilted.root(lambda m: float((shape * (y - time * m) / (shape + time * m)).sum()), low, high)


def _log_likelihood(y: Array, time: Array, shape: float, mean: float) -> float:
    expected = time * mean
    logs = (
        special.gammaln(y + shape)
        - special.gammaln(shape)
        - special.gammaln(y + 1)
        - (shape + y) * np.log1p(expected / shape)
        + special.xlogy(y, expected / shape)
    )
    return float(logs.sum())


def _among_worst(shape: Array, time: Array, places: int) -> Array:
    """P(a unit's rate is among the highest ``places``), the rates being independent gamma variables.

    For each unit the probability that fewer than ``places`` others are higher, averaged over the unit's own
    distribution by Gauss-Legendre quadrature on its quantiles. The answers add up to ``places``.
    """
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    share, weights = (nodes + 1) / 2, weights / 2
    found = np.empty(shape.size)
    for unit in range(shape.size):
        at = special.gammaincinv(shape[unit], share) / time[unit]
        higher = np.zeros((places, _NODES))  # row k: probability that k others are higher
        higher[0] = 1
        for other in range(shape.size):
            if other == unit:
                continue
            p = special.gammaincc(shape[other], at * time[other])
            higher[1:] = higher[1:] * (1 - p) + higher[:-1] * p
            higher[0] = higher[0] * (1 - p)
        found[unit] = float((higher.sum(axis=0) * weights).sum())
    return found
