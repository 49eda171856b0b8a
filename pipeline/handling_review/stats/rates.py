"""Injury rates per 200,000 hours worked and their intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, overload

import numpy as np
from scipy import special

from handling_review.stats import _inputs, _roots
from handling_review.stats._inputs import BASE_HOURS, Array, Values

METHODS = ("exact", "mid_p")


@dataclass(frozen=True)
class Interval:
    """Lower and upper limit, in the unit of the quantity they belong to."""

    lower: float
    upper: float


@dataclass(frozen=True, eq=False)
class Intervals:
    """Lower and upper limits, 1-D arrays in the order of the input."""

    lower: Array
    upper: Array


@overload
def rate(events: float, hours: float) -> float: ...
@overload
def rate(events: Values, hours: Values) -> Array: ...
def rate(events: float | Values, hours: float | Values) -> float | Array:
    """Cases per 200,000 hours worked: ``events * 200000 / hours``.

    Args:
        events: number of cases, one or a 1-D list. Add up before dividing; never average rates.
        hours: hours actually worked, same shape, above 0.

    Returns:
        The rate per 200,000 h, a float for single numbers, else a 1-D array.

    Raises:
        ValueError: counts that are negative or not whole, hours that are not above 0, unequal lengths.

    Source: 29 CFR 1904; BLS, How to Compute a Firm's Incidence Rate (N x 200,000 / EH).
    """
    y, t = _inputs.same_length(events=_inputs.counts("events", events), hours=_inputs.positive("hours", hours))
    found = y * BASE_HOURS / t
    return float(found) if found.ndim == 0 else found


@overload
def count_interval(events: float, confidence: float = ..., method: str = ...) -> Interval: ...
@overload
def count_interval(events: Values, confidence: float = ..., method: str = ...) -> Intervals: ...
def count_interval(events: float | Values, confidence: float = 0.95, method: str = "exact") -> Interval | Intervals:
    """Two-sided interval for the expected number of events behind an observed count.

    Args:
        events: observed number of events, one or a 1-D list.
        confidence: for example 0.95.
        method: ``"exact"`` (Garwood; never covers less than stated) or ``"mid_p"`` (counts half of the
            probability of the observed count in each tail; shorter, covers about what is stated).

    Returns:
        ``Interval`` for one count, ``Intervals`` for a list; in events. With no event the lower limit is 0
        and the upper one is still the two-sided one (3.689 exact at 95 %); see ``upper_limit``.

    Raises:
        ValueError: counts that are negative or not whole, confidence outside (0, 1), unknown method.

    Source: Garwood 1936, Biometrika 28:437-442; mid-P: Lancaster 1961, JASA 56:223-234.
    """
    y = _inputs.counts("events", events)
    tail = (1 - _inputs.share("confidence", confidence)) / 2
    _inputs.choice("method", method, METHODS)
    flat = np.atleast_1d(y)
    lower, upper = _garwood(flat, tail) if method == "exact" else _mid_p(flat, tail)
    if y.ndim == 0:
        return Interval(float(lower[0]), float(upper[0]))
    return Intervals(lower, upper)


@overload
def rate_interval(events: float, hours: float, confidence: float = ..., method: str = ...) -> Interval: ...
@overload
def rate_interval(events: Values, hours: Values, confidence: float = ..., method: str = ...) -> Intervals: ...
def rate_interval(
    events: float | Values, hours: float | Values, confidence: float = 0.95, method: str = "exact"
) -> Interval | Intervals:
    """Two-sided interval for a rate per 200,000 hours: ``count_interval`` x 200000 / hours.

    Args, errors and sources as in ``count_interval`` and ``rate``. Hours are taken as known without error.
    """
    y, t = _inputs.same_length(events=_inputs.counts("events", events), hours=_inputs.positive("hours", hours))
    limits = count_interval(np.atleast_1d(y), confidence, method)
    scale = BASE_HOURS / np.atleast_1d(t)
    lower, upper = limits.lower * scale, limits.upper * scale
    return Interval(float(lower[0]), float(upper[0])) if y.ndim == 0 else Intervals(lower, upper)


@overload
def upper_limit(events: float, hours: float, confidence: float = ...) -> float: ...
@overload
def upper_limit(events: Values, hours: Values, confidence: float = ...) -> Array: ...
def upper_limit(events: float | Values, hours: float | Values, confidence: float = 0.95) -> float | Array:
    """One-sided exact upper limit of a rate per 200,000 hours: "no cases, but it could be up to this".

    A higher true rate would give so few events less than ``1 - confidence`` of the time. With no event and
    95 % it is 2.996 x 200000 / hours (the "rule of three").

    Args and errors as in ``rate_interval``. Source: Garwood 1936; Hanley & Lippman-Hand 1983, JAMA 249.
    """
    y, t = _inputs.same_length(events=_inputs.counts("events", events), hours=_inputs.positive("hours", hours))
    found = special.gammainccinv(y + 1, 1 - _inputs.share("confidence", confidence)) * (BASE_HOURS / t)
    return float(found) if y.ndim == 0 else _floats(found)


def _garwood(y: Array, tail: float) -> tuple[Array, Array]:
    lower = np.where(y > 0, _floats(special.gammaincinv(np.maximum(y, 1), tail)), 0.0)
    return lower, _floats(special.gammainccinv(y + 1, tail))


def _mid_p(y: Array, tail: float) -> tuple[Array, Array]:
    """The mid-P tail is the mean of two exact tails, so its root lies between their roots."""
    some = y > 0
    k = y[some]
    lower = np.zeros_like(y)
    upper = np.full_like(y, -np.log(2 * tail))  # no event: exp(-mu) / 2 = tail
    lower[some] = _roots.bracketed(
        lambda mu, i: _mean(special.gammainc(k[i], mu), special.gammainc(k[i] + 1, mu)) - tail,
        _floats(special.gammaincinv(k, tail)),
        _floats(special.gammaincinv(k + 1, tail)),
    )
    upper[some] = _roots.bracketed(
        lambda mu, i: _mean(special.gammaincc(k[i], mu), special.gammaincc(k[i] + 1, mu)) - tail,
        _floats(special.gammainccinv(k, tail)),
        _floats(special.gammainccinv(k + 1, tail)),
    )
    return lower, upper


def _mean(one: Any, other: Any) -> Array:
    return _floats((one + other) / 2)


def _floats(values: Any) -> Array:
    return np.asarray(values, dtype=np.float64)
