"""Rate ratios of several facilities pooled: one common ratio, ratios that differ, and what a further facility may see.

Two ways, both on the log of the ratio. ``conditional`` works on the counts themselves: of the cases of a facility,
those on side 1 are binomial, so that no count needs to be corrected and a facility with a zero on one side still
counts. ``inverse_variance`` works on estimates with variances, the classical way; it is rough where counts are small.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from handling_review.stats import _inputs
from handling_review.stats._inputs import Array, Values

FEWEST_CASES = 5  # on either side of a facility, for its variance to mean something
FEWEST_SPREAD = 3  # below this a spread between facilities cannot be estimated
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(25)
_LOG_WEIGHTS = np.log(_WEIGHTS) + 0.5 * _NODES**2  # the normal curve of the rule is taken out again
_WIDEST_TAU = 5.0  # on the log scale: ratios that differ by factors of hundreds
_SPREADS = np.concatenate([np.linspace(0, 1, 41), np.linspace(1, _WIDEST_TAU, 33)[1:]])
_SPREAD_STEPS = np.gradient(_SPREADS) * np.where((_SPREADS == 0) | (_SPREADS == _WIDEST_TAU), 0.5, 1.0)
USUAL_SPREAD = 1.0  # scale of the half-normal weights of spreads: the cautious choice of Röver and others 2021
_SPREAD_SHARES = _SPREAD_STEPS * np.exp(-0.5 * (_SPREADS / USUAL_SPREAD) ** 2)
MOST_EXACT = 3000  # cases in all up to which limits of the one ratio are summed exactly; beyond it to five digits
_MOST_STEPS, _CLOSE, _NEAR = 100, 1e-11, 1e-6  # nodes need to lie near the peak only
_FAR_OUT = 100.0
_FARTHEST = 25.0  # log of the most extreme ratio that is looked for


@dataclass(frozen=True)
class Interval:
    """An estimate on the scale of ratios with its interval; ``nan`` and 0 to infinity where nothing is known."""

    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Heterogeneity:
    """How far facilities differ beyond chance.

    Attributes:
        tau: standard deviation of the log ratio between facilities; ``nan`` with fewer than three facilities.
        statistic, degrees, p_value: test of one common ratio; ``nan`` where it cannot be made.
        i2: share of the spread that is not chance, 0 to 1 (Higgins and Thompson 2002); ``nan`` likewise.
    """

    tau: float
    statistic: float
    degrees: int
    p_value: float
    i2: float


@dataclass(frozen=True)
class Pooled:
    """A pooled rate ratio.

    Attributes:
        common: if one ratio held everywhere (fixed effect).
        average: the middle of ratios that differ (random effects).
        prediction: range in which the true ratio of one further facility of this kind would lie.
        heterogeneity: how far facilities differ.
        facilities: how many tell anything (a case on either side and hours on both).
    """

    common: Interval
    average: Interval
    prediction: Interval
    heterogeneity: Heterogeneity
    facilities: int


_NOTHING = Interval(math.nan, 0.0, math.inf)


def conditional(events1: Values, hours1: Values, events0: Values, hours0: Values, confidence: float = 0.95) -> Pooled:
    """Pooled ratio from counts, by the binomial-normal model.

    Given the cases of a facility, those on side 1 are binomial with odds ratio x hours1 / hours0; log ratios differ
    normally between facilities. Maximum likelihood by adaptive Gauss-Hermite quadrature; heterogeneity by the
    likelihood ratio against no spread, half of chi-square with 1 degree of freedom. The interval of the common ratio is
    exact (with one facility it is that of a rate ratio). Those of the average and of a further facility weigh every
    spread from 0 to 5 by its likelihood and by half a normal curve of scale 1, which leaves out only spreads that no
    trade has: with few facilities the spread is hardly known, an interval that takes the best one for true would be too
    narrow, and one that holds ratios a hundredfold apart for as likely as any would say nothing.

    Args:
        events1, hours1: cases and hours of the side of interest, one entry a facility, 1-D.
        events0, hours0: the side it is held against.
        confidence: for example 0.95.

    Returns:
        ``Pooled``. ``heterogeneity.i2`` is that of ``inverse_variance``, and ``nan`` where a facility has fewer than
        five cases on a side: the variances it rests on are too rough there.

    Raises:
        ValueError: bad counts or hours, or cases without hours.

    Source: Stijnen, Hamza and Ozdemir 2010, Statistics in Medicine 29:3046-3067 (incidence rate ratios); weights of
    the spread: Röver and others 2021, Research Synthesis Methods 12:448-474 (half-normal, scale from memory).
    """
    level = _inputs.share("confidence", confidence)
    y1, t1, y0, t0 = _sides(events1, hours1, events0, hours0)
    tells = (t1 > 0) & (t0 > 0) & (y1 + y0 > 0)
    y1, t1, y0, t0 = y1[tells], t1[tells], y0[tells], t0[tells]
    k = int(tells.sum())
    if k == 0:
        return Pooled(_NOTHING, _NOTHING, _NOTHING, Heterogeneity(math.nan, math.nan, 0, math.nan, math.nan), 0)
    offset = np.log(t1 / t0)
    common = _common(y1, y0, offset, level)
    has_both = y1.sum() > 0 and y0.sum() > 0
    if k < FEWEST_SPREAD or not has_both:
        spread = Heterogeneity(math.nan, math.nan, k - 1, math.nan, math.nan)
        return Pooled(common, common if k == 1 else _NOTHING, _NOTHING, spread, k)
    best, flat = _best(y1, y0, offset)
    statistic = max(2 * (best.log_likelihood - flat.log_likelihood), 0.0)
    p_value = 1.0 if statistic == 0 else 0.5 * float(special.chdtrc(1, statistic))
    average, prediction = _weighed_ranges(y1, y0, offset, best, flat, level)
    firm = min(y1.min(), y0.min()) >= FEWEST_CASES
    i2 = inverse_variance(*log_ratios(y1, t1, y0, t0), level).heterogeneity.i2 if firm else math.nan
    return Pooled(common, average, prediction, Heterogeneity(best.tau, statistic, 1, p_value, i2), k)


def log_ratios(events1: Values, hours1: Values, events0: Values, hours0: Values) -> tuple[Array, Array]:
    """Log rate ratios and their variances, one a facility, 1-D.

    Half a case is added to both sides of a facility where one of them has none. Every facility must have hours on both
    sides and a case on either.

    Raises:
        ValueError: bad counts or hours, or a facility that tells nothing.

    Source: Borenstein and others 2009, Introduction to Meta-Analysis, ch. 5 and 18 (correction of a half).
    """
    y1, t1, y0, t0 = _sides(events1, hours1, events0, hours0)
    if ((t1 <= 0) | (t0 <= 0) | (y1 + y0 == 0)).any():
        raise ValueError("each facility needs hours on both sides and a case on either")
    added = np.where((y1 == 0) | (y0 == 0), 0.5, 0.0)
    a, b = y1 + added, y0 + added
    return np.log(a / t1) - np.log(b / t0), 1 / a + 1 / b


def inverse_variance(estimates: Values, variances: Values, confidence: float = 0.95) -> Pooled:
    """Pooled ratio from log ratios weighed by their precision.

    Between-facility variance by Paule and Mandel 1982 (Journal of Research of the NBS 87:377-385); interval of the
    average by Hartung and Knapp 2001 (Statistics in Medicine 20:3875-3889), never narrower than the normal one; test
    of one common ratio by Cochran's Q; prediction interval with k - 2 degrees of freedom (Higgins and others 2009).

    Args:
        estimates: log ratios, one a facility, 1-D.
        variances: their variances.
        confidence: for example 0.95.

    Raises:
        ValueError: no facility, missing numbers, or a variance that is not above 0.
    """
    level = _inputs.share("confidence", confidence)
    found, spread = _inputs.same_length(
        estimates=np.atleast_1d(_inputs.numbers("estimates", estimates)),
        variances=np.atleast_1d(_inputs.positive("variances", variances)),
    )
    if found.size == 0 or not np.isfinite(found).all():
        raise ValueError("estimates must be at least one finite log ratio")
    k = int(found.size)
    z = float(-special.ndtri((1 - level) / 2))
    weights = 1 / spread
    centre = float(np.average(found, weights=weights))
    error = math.sqrt(1 / weights.sum())
    common = _interval(centre, z * error)
    if k < FEWEST_SPREAD:
        none = Heterogeneity(math.nan, math.nan, k - 1, math.nan, math.nan)
        return Pooled(common, common if k == 1 else _NOTHING, _NOTHING, none, k)
    q = float((weights * (found - centre) ** 2).sum())
    tau2 = _paule_mandel(found, spread)
    random = 1 / (spread + tau2)
    middle = float(np.average(found, weights=random))
    wald = math.sqrt(1 / random.sum())
    scale = math.sqrt(float((random * (found - middle) ** 2).sum()) / (k - 1))
    t = -float(special.stdtrit(k - 1, (1 - level) / 2))
    heterogeneity = Heterogeneity(
        tau=math.sqrt(tau2),
        statistic=q,
        degrees=k - 1,
        p_value=float(special.chdtrc(k - 1, q)),
        i2=max(0.0, (q - (k - 1)) / q) if q > 0 else 0.0,
    )
    average = _interval(middle, max(t * scale * wald, z * wald))
    return Pooled(common, average, _prediction(middle, math.sqrt(tau2), wald, k, level), heterogeneity, k)


def _sides(events1: Values, hours1: Values, events0: Values, hours0: Values) -> tuple[Array, Array, Array, Array]:
    y1, t1 = _inputs.events_and_hours(events1, hours1)
    y0, t0 = _inputs.events_and_hours(events0, hours0)
    found = _inputs.same_length(events1=y1, hours1=t1, events0=y0, hours0=t0)
    return found[0], found[1], found[2], found[3]


def _interval(centre: float, half: float) -> Interval:
    return Interval(math.exp(centre), _exp(centre - half), _exp(centre + half))


def _exp(value: float) -> float:
    return math.inf if value > 700 else math.exp(value)


def _prediction(middle: float, tau: float, error: float, k: int, level: float) -> Interval:
    t = -float(special.stdtrit(k - 2, (1 - level) / 2))
    return _interval(middle, t * math.sqrt(tau**2 + error**2))


def _paule_mandel(estimates: Array, variances: Array) -> float:
    """The variance between facilities at which the weighed squares are as many as expected; 0 if fewer already."""
    k = estimates.size

    def excess(tau2: float) -> float:
        weights = 1 / (variances + tau2)
        middle = np.average(estimates, weights=weights)
        return float((weights * (estimates - middle) ** 2).sum()) - (k - 1)

    if excess(0.0) <= 0:
        return 0.0
    high = float(np.var(estimates)) + float(variances.max())
    while excess(high) > 0:
        high *= 2
    return float(optimize.brentq(excess, 0.0, high, xtol=1e-14, rtol=1e-14))


def _common(y1: Array, y0: Array, offset: Array, level: float) -> Interval:
    """One ratio for all by conditional maximum likelihood, with limits from the sum of the binomial counts."""
    total1, total0 = float(y1.sum()), float(y0.sum())
    tail = (1 - level) / 2

    def expected(log_ratio: float) -> float:
        return float(((y1 + y0) * special.expit(log_ratio + offset)).sum())

    def at(log_ratio: float) -> float:
        return expected(log_ratio) - total1

    if total1 == 0:
        estimate = 0.0
    elif total0 == 0:
        estimate = math.inf
    else:
        estimate = math.exp(float(optimize.brentq(at, -_FARTHEST, _FARTHEST, xtol=1e-13)))
    lower = 0.0 if total1 == 0 else math.exp(_tail_root(y1, y0, offset, tail, above=True))
    upper = math.inf if total0 == 0 else math.exp(_tail_root(y1, y0, offset, tail, above=False))
    return Interval(estimate, lower, upper)


def _tail_root(y1: Array, y0: Array, offset: Array, tail: float, *, above: bool) -> float:
    """The log ratio at which as few (or as many) cases on side 1 as seen have just the chance ``tail``."""
    total = int(y1.sum())

    def excess(log_ratio: float) -> float:
        chance = special.expit(log_ratio + offset)
        if (y1 + y0).sum() > MOST_EXACT:
            return _tail_of_many(y1 + y0, chance, total, above=above) - tail
        chances = _sum_of_binomials(y1 + y0, chance)
        return float(chances[total:].sum() if above else chances[: total + 1].sum()) - tail

    return float(optimize.brentq(excess, -_FARTHEST, _FARTHEST, xtol=1e-12))


def _tail_of_many(sizes: Array, chances: Array, total: int, *, above: bool) -> float:
    """The tail of a sum of many binomial counts: normal, with half a case and its skewness allowed for.

    Source: Volkova 1996, Theory of Probability and its Applications 40:791-794 (refined normal approximation).
    """
    variance = float((sizes * chances * (1 - chances)).sum())
    third = float((sizes * chances * (1 - chances) * (1 - 2 * chances)).sum())
    at = (total - 0.5 if above else total + 0.5) - float((sizes * chances).sum())
    z = at / math.sqrt(variance) if variance > 0 else math.copysign(math.inf, at)
    if math.isinf(z) or abs(z) > _FAR_OUT:
        return 1.0 if (z < 0) == above else 0.0
    skewed = third / variance**1.5 * (1 - z**2) / 6 * math.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
    below = float(special.ndtr(z)) + skewed
    return float(1 - below if above else below)


def _sum_of_binomials(sizes: Array, chances: Array) -> Array:
    """Chances of 0, 1, ... cases in all, of independent binomial counts."""
    whole = np.ones(1)
    for size, chance in zip(sizes, chances, strict=True):
        n = int(size)
        y = np.arange(n + 1)
        ways = special.gammaln(n + 1) - special.gammaln(y + 1) - special.gammaln(n - y + 1)
        whole = np.convolve(whole, np.exp(ways + special.xlogy(y, chance) + special.xlog1py(n - y, -chance)))
    return whole


@dataclass(frozen=True)
class _Fit:
    """Best middle for one spread: its log likelihood, and its standard error from the curve there."""

    tau: float
    middle: float
    log_likelihood: float
    error: float


def _log_likelihood(y1: Array, y0: Array, offset: Array, middle: float, tau: float) -> float:
    """Log likelihood of the binomial-normal model but for a constant."""
    return _derivatives(y1, y0, offset, middle, tau)[0]


def _derivatives(y1: Array, y0: Array, offset: Array, middle: float, tau: float) -> tuple[float, float, float]:
    """Log likelihood, its slope and its bend in the middle; nodes lie around each facility's own peak."""
    shift, total = middle + offset, y1 + y0
    peak, width = _peaks(y1, total, shift, tau)
    z = peak[:, None] + width[:, None] * _NODES[None, :]
    at = shift[:, None] + tau * z
    chance = special.expit(at)
    inside = y1[:, None] * at - total[:, None] * np.logaddexp(0, at) - 0.5 * z**2 + _LOG_WEIGHTS
    top = inside.max(axis=1)
    weight = np.exp(inside - top[:, None])
    whole = weight.sum(axis=1)
    weight /= whole[:, None]
    pull = y1[:, None] - total[:, None] * chance
    slope = (weight * pull).sum(axis=1)
    spread = (weight * (pull**2 - total[:, None] * chance * (1 - chance))).sum(axis=1) - slope**2
    value = top + np.log(whole * width) - 0.5 * math.log(2 * math.pi)
    return float(value.sum()), float(slope.sum()), float(spread.sum())


def _peaks(y1: Array, total: Array, shift: Array, tau: float) -> tuple[Array, Array]:
    """Where a facility's own deviation is likeliest, in standard deviations, and how wide that peak is."""
    if tau == 0:
        return np.zeros_like(shift), np.ones_like(shift)
    z, low, high = np.zeros_like(shift), -tau * (total - y1) - 1.0, tau * y1 + 1.0
    for _ in range(_MOST_STEPS):
        chance = special.expit(shift + tau * z)
        uphill = tau * (y1 - total * chance) - z
        low, high = np.where(uphill > 0, z, low), np.where(uphill > 0, high, z)
        step = z + uphill / (tau**2 * total * chance * (1 - chance) + 1)
        following = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        moved, z = np.abs(following - z).max(), following
        if moved < _NEAR:
            break
    chance = special.expit(shift + tau * z)
    return z, 1 / np.sqrt(tau**2 * total * chance * (1 - chance) + 1)


def _at_tau(y1: Array, y0: Array, offset: Array, tau: float, start: float) -> _Fit:
    """The best middle for a spread, by Newton's steps of at most one."""
    middle = start
    value, slope, bend = _derivatives(y1, y0, offset, middle, tau)
    for _ in range(_MOST_STEPS):
        step = slope / -bend if bend < 0 else math.copysign(0.5, slope)
        step = min(max(step, -1.0), 1.0)
        if abs(step) < _CLOSE:
            break
        middle += step
        value, slope, bend = _derivatives(y1, y0, offset, middle, tau)
    return _Fit(tau, middle, value, 1 / math.sqrt(-bend) if bend < 0 else math.inf)


def _best(y1: Array, y0: Array, offset: Array) -> tuple[_Fit, _Fit]:
    """The fit at the maximum of the likelihood, and the fit without any spread."""
    start = math.log((y1.sum() + 0.5) / (y0.sum() + 0.5)) - float(np.average(offset, weights=y1 + y0))
    flat = _at_tau(y1, y0, offset, 0.0, start)
    found = optimize.minimize_scalar(
        lambda tau: -_at_tau(y1, y0, offset, tau, flat.middle).log_likelihood,
        bounds=(0.0, _WIDEST_TAU),
        method="bounded",
        options={"xatol": 1e-7},
    )
    best = _at_tau(y1, y0, offset, float(found.x), flat.middle)
    return (flat if flat.log_likelihood >= best.log_likelihood - 1e-9 else best), flat


def _weighed_ranges(
    y1: Array, y0: Array, offset: Array, best: _Fit, flat: _Fit, level: float
) -> tuple[Interval, Interval]:
    """Ranges of the average and of a further facility, spreads weighed by their likelihood and how usual they are."""
    fits = [flat, *(_at_tau(y1, y0, offset, float(tau), best.middle) for tau in _SPREADS[1:])]
    middles = np.array([fit.middle for fit in fits])
    errors = np.array([fit.error for fit in fits])
    heights = np.array([fit.log_likelihood for fit in fits]) + np.log(errors)
    shares = np.exp(heights - heights.max()) * _SPREAD_SHARES
    shares /= shares.sum()
    tail = (1 - level) / 2

    def ends(widths: Array) -> Interval:
        def below(at: float) -> float:
            return float((shares * special.ndtr((at - middles) / widths)).sum())

        low, high = (
            float(optimize.brentq(lambda at, goal=goal: below(at) - goal, -_FAR_OUT, _FAR_OUT, xtol=1e-10))
            for goal in (tail, 1 - tail)
        )
        return Interval(math.exp(best.middle), _exp(low), _exp(high))

    return ends(errors), ends(np.sqrt(errors**2 + _SPREADS**2))
