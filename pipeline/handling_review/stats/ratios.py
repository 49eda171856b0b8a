"""Two rates set against each other: ratio, difference, and cases avoided.

Everywhere 1 is the group of interest (after, exposed) and 0 the one it is held against (before, reference).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import overload

import numpy as np
from scipy import special

from handling_review.stats import _inputs, _roots, rates
from handling_review.stats._inputs import BASE_HOURS, Array, Values

METHODS = ("mid_p", "exact")


@dataclass(frozen=True)
class Ratio:
    """Rate ratio with its interval and the two-sided p-value of the same method.

    ``estimate`` is 0 with no event in group 1, infinite with none in group 0, ``nan`` with none in either.
    """

    estimate: float
    lower: float
    upper: float
    p_value: float
    method: str


@dataclass(frozen=True, eq=False)
class Ratios:
    """Rate ratios as in ``Ratio``; 1-D arrays in the order of the input."""

    estimate: Array
    lower: Array
    upper: Array
    p_value: Array
    method: str


@dataclass(frozen=True)
class Difference:
    """A difference with its interval, in the unit that the function making it names."""

    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True, eq=False)
class Differences:
    """Differences as in ``Difference``; 1-D arrays in the order of the input."""

    estimate: Array
    lower: Array
    upper: Array


@overload
def rate_ratio(
    events1: float,
    hours1: float,
    events0: float,
    hours0: float,
    confidence: float = ...,
    method: str = ...,
    null: float = ...,
) -> Ratio: ...
@overload
def rate_ratio(
    events1: Values,
    hours1: Values,
    events0: Values,
    hours0: Values,
    confidence: float = ...,
    method: str = ...,
    null: float = ...,
) -> Ratios: ...
def rate_ratio(
    events1: float | Values,
    hours1: float | Values,
    events0: float | Values,
    hours0: float | Values,
    confidence: float = 0.95,
    method: str = "mid_p",
    null: float = 1.0,
) -> Ratio | Ratios:
    """Ratio of two rates, (events1 / hours1) / (events0 / hours0), with its conditional interval.

    Given the total number of events, the events of group 1 are binomial with a share that depends on the
    ratio and the hours alone, so that no other unknown enters. The p-value doubles the smaller tail of the
    same distribution, so that it is below 1 - confidence exactly when the interval leaves out ``null``.
    Nothing is ever added to a zero cell.

    Args:
        events1, events0: number of events, single or 1-D lists of one length.
        hours1, hours0: hours worked, same shapes, above 0.
        confidence: for example 0.95.
        method: ``"mid_p"`` (half of the probability of the observed split in each tail) or ``"exact"``
            (never covers less than stated, longer).
        null: the ratio that the p-value tests.

    Returns:
        ``Ratio`` for single numbers, ``Ratios`` for lists. No event in group 1: lower limit 0. None in
        group 0: upper limit infinite. None at all: 0 to infinity, p = 1.

    Raises:
        ValueError: counts that are negative or not whole, hours or ``null`` not above 0, confidence outside
            (0, 1), unknown method, unequal lengths.

    Source: Rothman & Greenland, Modern Epidemiology, ch. 14; Fay 2010, R Journal 2(1):53-58 (p-value and
    interval from one method); Clopper & Pearson 1934 for the exact limits.
    """
    y1, t1, y0, t0 = _checked(events1, hours1, events0, hours0)
    tail = (1 - _inputs.share("confidence", confidence)) / 2
    _inputs.choice("method", method, METHODS)
    expected = _inputs.positive_number("null", null)
    shape = y1.shape
    y1, t1, y0, t0 = (np.atleast_1d(values) for values in (y1, t1, y0, t0))
    with np.errstate(divide="ignore", invalid="ignore"):
        estimate = (y1 / t1) / (y0 / t0)
    lower, upper = odds_limits(y1, y0, tail, method)
    p_value = split_p_value(y1, y0, expected * (t1 / t0), method)
    scale = t0 / t1
    if shape == ():
        return Ratio(
            float(estimate[0]),
            float(lower[0] * scale[0]),
            float(upper[0] * scale[0]),
            float(p_value[0]),
            method,
        )
    return Ratios(estimate, lower * scale, upper * scale, p_value, method)


@overload
def rate_difference(
    events1: float,
    hours1: float,
    events0: float,
    hours0: float,
    confidence: float = ...,
    method: str = ...,
) -> Difference: ...
@overload
def rate_difference(
    events1: Values,
    hours1: Values,
    events0: Values,
    hours0: Values,
    confidence: float = ...,
    method: str = ...,
) -> Differences: ...
def rate_difference(
    events1: float | Values,
    hours1: float | Values,
    events0: float | Values,
    hours0: float | Values,
    confidence: float = 0.95,
    method: str = "mid_p",
) -> Difference | Differences:
    """Rate of group 1 minus rate of group 0, per 200,000 hours worked.

    The interval is put together from the two single-rate intervals (method of variance estimates recovery):
    each limit takes, from either rate, the arm that points its way. It stays usable at zero events.

    Args, errors: as in ``rate_ratio``. Returns ``Difference`` or, for lists, ``Differences``.

    Source: Donner & Zou 2012, Stat Methods Med Res 21:347-359; Li, Tang & Wong 2014, Computational
    Statistics 29:869-889.
    """
    y1, t1, y0, t0 = _checked(events1, hours1, events0, hours0)
    shape = y1.shape
    y1, t1, y0, t0 = (np.atleast_1d(values) for values in (y1, t1, y0, t0))
    one, zero = y1 * BASE_HOURS / t1, y0 * BASE_HOURS / t0
    around1 = rates.rate_interval(y1, t1, confidence, method)
    around0 = rates.rate_interval(y0, t0, confidence, method)
    estimate = one - zero
    lower = estimate - np.hypot(one - around1.lower, around0.upper - zero)
    upper = estimate + np.hypot(around1.upper - one, zero - around0.lower)
    if shape == ():
        return Difference(float(estimate[0]), float(lower[0]), float(upper[0]))
    return Differences(estimate, lower, upper)


def cases_avoided(
    events1: float,
    hours1: float,
    events0: float,
    hours0: float,
    confidence: float = 0.95,
    method: str = "mid_p",
) -> Difference:
    """Cases that the rate of group 0 would have given on the hours of group 1, minus those seen there.

    Equal to ``(rate0 - rate1) * hours1 / 200000``. Negative when there were more cases than that.

    Args, errors: as in ``rate_ratio``, single numbers only. Returns ``Difference`` in cases over ``hours1``.
    The interval is that of ``rate_difference``, carried to the same hours.
    """
    gap = rate_difference(
        float(_inputs.count("events1", events1)),
        _inputs.positive_number("hours1", hours1),
        float(_inputs.count("events0", events0)),
        _inputs.positive_number("hours0", hours0),
        confidence,
        method,
    )
    scale = hours1 / BASE_HOURS
    return Difference(events0 * (hours1 / hours0) - events1, -gap.upper * scale, -gap.lower * scale)


def odds_limits(y1: Array, y0: Array, tail: float, method: str) -> tuple[Array, Array]:
    """Limits of the odds p / (1 - p) when ``y1`` of ``y1 + y0`` events fell in group 1 (1-D arrays).

    ``tail`` is the probability left out on each side. The rate ratio is these odds times hours0 / hours1.
    By symmetry the upper limit is one over the lower limit with the groups exchanged.
    """
    lower = _lower_odds(y1, y0, tail, method)
    with np.errstate(divide="ignore"):
        upper = 1 / _lower_odds(y0, y1, tail, method)
    return lower, upper


def split_p_value(y1: Array, y0: Array, odds: Array, method: str) -> Array:
    """Two-sided p-value that ``y1`` of ``y1 + y0`` events fell in group 1 when the odds are ``odds``."""
    log_odds = np.log(odds)
    up, more = _upper_tails(y1, y0, log_odds)
    down, fewer = _upper_tails(y0, y1, -log_odds)
    if method == "mid_p":
        up, down = (up + more) / 2, (down + fewer) / 2
    return np.where(y1 + y0 > 0, np.minimum(1.0, 2 * np.minimum(up, down)), 1.0)


def _lower_odds(y1: Array, y0: Array, tail: float, method: str) -> Array:
    lower = np.zeros_like(y1)
    some = y1 > 0
    a, b = y1[some], y0[some]
    exact = _log_odds_where_upper_tail_is(tail, a, b)
    if method == "exact":
        lower[some] = np.exp(exact)
        return lower
    # P(Y >= a) and P(Y > a) average to the mid-P tail; its root lies between the roots of the two
    other = b > 0
    c, d = a[other], b[other]
    roots = np.empty_like(exact)
    roots[other] = _roots.bracketed(
        lambda x, i: _mid_tail(c[i], d[i], x) - tail,
        exact[other],
        _log_odds_where_upper_tail_is(tail, c + 1, d - 1),
    )
    log_share = np.log(2 * tail) / a[~other]  # all events in group 1: p**a / 2 = tail
    roots[~other] = log_share - np.log(-np.expm1(log_share))
    lower[some] = np.exp(roots)
    return lower


def _log_odds_where_upper_tail_is(tail: float, a: Array, b: Array) -> Array:
    """Log odds at which P(Y >= a) out of a + b events is ``tail`` (a >= 1), from both shares for accuracy."""
    p = special.betaincinv(a, b + 1, tail)
    q = special.betainccinv(b + 1, a, tail)
    return np.asarray(np.log(p) - np.log(q), dtype=np.float64)


def _mid_tail(a: Array, b: Array, log_odds: Array) -> Array:
    at_least, more = _upper_tails(a, b, log_odds)
    return (at_least + more) / 2


def _upper_tails(a: Array, b: Array, log_odds: Array) -> tuple[Array, Array]:
    """P(Y >= a) and P(Y > a) out of a + b events at the given log odds, each from the smaller share."""
    p, q = special.expit(log_odds), special.expit(-log_odds)
    small = p <= 0.5
    from_a, from_b = np.maximum(a, 1), np.maximum(b, 1)
    at_least = np.where(small, special.betainc(from_a, b + 1, p), special.betaincc(b + 1, from_a, q))
    more = np.where(small, special.betainc(a + 1, from_b, p), special.betaincc(from_b, a + 1, q))
    return np.where(a > 0, at_least, 1.0), np.where(b > 0, more, 0.0)


def _checked(
    events1: float | Values, hours1: float | Values, events0: float | Values, hours0: float | Values
) -> tuple[Array, ...]:
    return _inputs.same_length(
        events1=_inputs.counts("events1", events1),
        hours1=_inputs.positive("hours1", hours1),
        events0=_inputs.counts("events0", events0),
        hours0=_inputs.positive("hours0", hours0),
    )
