"""Control charts for rates: limits that a steady process rarely leaves, and the signals to look for."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from handling_review.stats import _inputs
from handling_review.stats._inputs import BASE_HOURS, Array, Values
from handling_review.stats.cusum import Cusum as Cusum
from handling_review.stats.cusum import poisson_cusum as poisson_cusum

Flags = NDArray[np.bool_]

KINDS = ("poisson", "sigma", "laney")
GAP_KINDS = ("nelson", "exponential")
RUN_LENGTH = 8  # points in a row on one side of the centre (Provost & Murray 2011)
TREND_LENGTH = 6  # points in a row rising or falling
FEWEST_PER_PERIOD = 2.0  # expected events; with fewer, most periods hold 0 or 1 and days between say more
LARGE_PER_PERIOD = 50.0  # common practice, no source: below, Poisson's own spread hides any other
_D2 = 1.128  # mean range of two normal values, as printed in the textbooks
NELSON_POWER = 1 / 3.6  # makes exponential waiting times nearly normal; some texts round it to 0.2777
_ON_THE_LINE = 1e-9  # of the value: a point that only rounding keeps off the centre lies on it
_FEWEST_BASELINE = 8  # common practice, no source


@dataclass(frozen=True, eq=False)
class ULimits:
    """A u-chart of rates per 200,000 hours; arrays have shape (periods,), ``nan`` without hours.

    Attributes:
        rate_per_200k: the points.
        centre_per_200k: rate of the baseline periods together.
        lower, upper: limits per 200,000 hours; a point strictly beyond them is a signal.
        false_alarm: probability that a steady process leaves the limits in this period (``nan`` for laney).
        sigma_z: spread of the baseline beyond Poisson's, from moving ranges (``nan`` with fewer than two
            baseline periods).
        kind: what the limits are; ``sigma`` where ``laney`` was asked for and sigma_z is not above 1.
        notes: what should be read with care, as sentences.
    """

    rate_per_200k: Array
    centre_per_200k: float
    lower: Array
    upper: Array
    false_alarm: Array
    sigma_z: float
    kind: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class DaysBetween:
    """Chart of the days between events: centre and limits in days, the same for all points.

    ``mean_days`` is the plain mean of the baseline. A point below ``lower`` came too soon, one above
    ``upper`` is a longer wait than a steady process gives.
    """

    centre: float
    lower: float
    upper: float
    mean_days: float
    kind: str
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Signals:
    """Points that take part in a signal, shape (points,).

    Attributes:
        outside: beyond a limit.
        run: in a run of eight or more on one side of the centre.
        trend: in a series of six or more rising, or falling.
    """

    outside: Flags
    run: Flags
    trend: Flags


def u_limits(
    events: Values, hours: Values, baseline: int | Values, kind: str = "poisson", sigmas: float = 3.0
) -> ULimits:
    """Control limits of rates per 200,000 hours, from a frozen baseline.

    Args:
        events, hours: one entry per period in order; hours of 0 allowed.
        baseline: how many of the first periods make the centre line (those before the program), or a list
            of true / false per period.
        kind: ``poisson`` (exact limits with at most the normal ``sigmas`` tail area on either side; the
            default), ``sigma`` (centre +- sigmas standard errors, cut at 0) or ``laney`` (the same, widened
            by sigma_z; for large counts only).
        sigmas: 3 gives tails of 0.00135 each.

    Returns:
        ``ULimits``.

    Raises:
        ValueError: bad counts or hours, a baseline without hours, unknown kind.

    Source: Montgomery, Introduction to Statistical Quality Control (u-chart); Laney 2002, Quality
    Engineering 14:531-537; probability limits: smallest counts k with P(X <= k) >= tail, resp. 1 - tail.
    """
    y, t = _inputs.events_and_hours(events, hours)
    base = _baseline(baseline, y.size) & (t > 0)
    _inputs.choice("kind", kind, KINDS)
    reach = _inputs.positive_number("sigmas", sigmas)
    if not base.any():
        raise ValueError("baseline must hold at least one period with hours")
    time = np.where(t > 0, t, math.nan) / BASE_HOURS
    centre = float(y[base].sum() / t[base].sum() * BASE_HOURS)
    rate = y / time
    sigma_z = _sigma_z(rate[base], centre, time[base])
    notes = _baseline_notes(int(base.sum()))
    if centre == 0:
        notes = (*notes, "no event in the baseline: every later event lies outside the limits")
    if kind == "poisson":
        low, high = probability_limits(centre * time, 2 * float(special.ndtr(-reach)))
        return ULimits(
            rate, centre, low / time, high / time, _false_alarm(low, high, centre * time), sigma_z, kind, notes
        )
    factor = 1.0
    if kind == "laney":
        if not sigma_z > 1:
            kind, notes = "sigma", (*notes, "no spread beyond Poisson's: plain limits used")
        else:
            factor = sigma_z
            if centre * float(np.nanmean(time[base])) < LARGE_PER_PERIOD:
                notes = (*notes, "small counts: the Poisson limits are the safer ones")
    half = reach * factor * np.sqrt(centre / time)
    lower, upper = np.maximum(centre - half, 0.0), centre + half
    alarm = np.full(y.size, math.nan)
    if kind == "sigma":
        alarm = _false_alarm(np.ceil(lower * time - 1e-9), np.floor(upper * time + 1e-9), centre * time)
    return ULimits(rate, centre, lower, upper, alarm, sigma_z, kind, notes)


def probability_limits(expected: Values, alpha: float) -> tuple[Array, Array]:
    """Counts below the first, or above the second, of which have at most ``alpha / 2`` on either side.

    Args:
        expected: expected counts, shape (n,); ``nan`` stays ``nan``.
        alpha: probability of a false signal, both sides together.

    Returns:
        Smallest k with P(X <= k) >= alpha / 2, and smallest k with P(X <= k) >= 1 - alpha / 2; a count equal
        to either is no signal.
    """
    tail = _inputs.share("alpha", alpha) / 2
    mean = np.atleast_1d(np.asarray(expected, dtype=np.float64))
    return _smallest(mean, tail, upper=False), _smallest(mean, tail, upper=True)


def best_kind(events: Values, hours: Values, baseline: int | Values) -> str:
    """Which chart suits the counts: ``days_between``, ``poisson`` or ``laney``.

    Fewer than two events expected per baseline period call for days between events; Laney's limits are only
    for large counts (50 or more a period) that spread more than Poisson's; else exact Poisson limits.
    """
    y, t = _inputs.events_and_hours(events, hours)
    base = _baseline(baseline, y.size) & (t > 0)
    if not base.any() or y[base].mean() < FEWEST_PER_PERIOD:
        return "days_between"
    found = u_limits(y, t, base, "sigma")
    return "laney" if found.sigma_z > 1 and y[base].mean() >= LARGE_PER_PERIOD else "poisson"


def days_between(
    days: Values,
    baseline: int | Values | None = None,
    kind: str = "nelson",
    sigmas: float = 3.0,
    power: float = NELSON_POWER,
) -> DaysBetween:
    """Limits for the days from one event to the next (t-chart).

    Args:
        days: waiting times in order, 0 or more (0: two events on one day).
        baseline: as in ``u_limits``; ``None`` takes all.
        kind: ``nelson`` (days to a power, then limits from moving ranges) or ``exponential`` (probability
            limits of an exponential waiting time, the median as centre).
        sigmas: width; 3 gives tails of 0.00135 each.
        power: of the ``nelson`` kind.

    Returns:
        ``DaysBetween``.

    Raises:
        ValueError: negative or missing days, fewer than two in the baseline, all 0, unknown kind.

    Source: Nelson 1994, J Qual Technol 26:229-230; Montgomery, Introduction to Statistical Quality Control
    (time between events); 2.66 = 3 / 1.128.
    """
    x = np.atleast_1d(_inputs.not_negative("days", days))
    x = x if baseline is None else x[_baseline(baseline, x.size)]
    _inputs.choice("kind", kind, GAP_KINDS)
    reach = _inputs.positive_number("sigmas", sigmas)
    if x.size < 2 or x.max() == 0:
        raise ValueError("days must hold two baseline waiting times or more, not all 0")
    notes = _baseline_notes(x.size)
    mean = float(x.mean())
    if kind == "exponential":
        tail = float(special.ndtr(-reach))
        lower, upper = -math.log1p(-tail) * mean, -math.log(tail) * mean
        return DaysBetween(math.log(2) * mean, lower, upper, mean, kind, notes)
    exponent = _inputs.positive_number("power", power)
    y = x**exponent
    half = reach * float(np.abs(np.diff(y)).mean()) * (2.66 / 3)
    low, centre, high = max(0.0, float(y.mean()) - half), float(y.mean()), float(y.mean()) + half
    lower, middle, upper = (value ** (1 / exponent) for value in (low, centre, high))
    return DaysBetween(middle, lower, upper, mean, kind, notes)


def signals(values: Values, centre: float, lower: float | Values, upper: float | Values) -> Signals:
    """Points outside the limits, in runs of eight on one side, in series of six rising or falling.

    Args:
        values: the points in order; ``nan`` (a period without hours) is passed over.
        centre: centre line. lower, upper: limits, single or per point.

    Returns:
        ``Signals``. A point on the centre line neither adds to a run nor ends it; of equal neighbours one
        counts in a series (rules from memory of Provost & Murray 2011, The Health Care Data Guide).
    """
    x = np.atleast_1d(np.asarray(values, dtype=np.float64))
    low, high = (np.broadcast_to(np.asarray(limit, dtype=np.float64), x.shape) for limit in (lower, upper))
    with np.errstate(invalid="ignore"):
        outside = (x < low) | (x > high)
        away = x - _inputs.finite_number("centre", centre)
        side = np.where(np.abs(away) <= _ON_THE_LINE * np.maximum(abs(centre), np.abs(x)), 0.0, np.sign(away))
    counted = np.flatnonzero(~np.isnan(side) & (side != 0))
    run = np.zeros(x.size, dtype=np.bool_)
    run[_in_long_stretches(counted, side[counted], RUN_LENGTH)] = True
    seen = np.flatnonzero(~np.isnan(x))
    seen = seen[np.concatenate([[True], np.diff(x[seen]) != 0])] if seen.size else seen
    steps = np.sign(np.diff(x[seen]))
    trend = np.zeros(x.size, dtype=np.bool_)
    for first, last in _stretches(steps):
        if last - first + 2 >= TREND_LENGTH:  # steps between, so one point more
            trend[seen[first : last + 2]] = True
    return Signals(outside, run, trend)


def _in_long_stretches(places: NDArray[np.intp], values: Array, length: int) -> NDArray[np.intp]:
    kept = [places[first : last + 1] for first, last in _stretches(values) if last - first + 1 >= length]
    return np.concatenate(kept) if kept else places[:0]


def _stretches(values: Array) -> list[tuple[int, int]]:
    """First and last place of each stretch of equal values."""
    if values.size == 0:
        return []
    breaks = np.flatnonzero(np.diff(values) != 0)
    starts = np.concatenate([[0], breaks + 1])
    ends = np.concatenate([breaks, [values.size - 1]])
    return [(int(first), int(last)) for first, last in zip(starts, ends, strict=True)]


def _smallest(mean: Array, tail: float, *, upper: bool) -> Array:
    """Smallest k with P(X <= k) >= tail, or with P(X > k) <= tail for the upper side."""

    def reached(k: Array) -> Flags:
        found = special.pdtrc(k, mean) <= tail if upper else special.pdtr(k, mean) >= tail
        return np.asarray((k >= 0) & (found | np.isnan(mean)), dtype=np.bool_)

    z = float(special.ndtri(tail)) * (-1 if upper else 1)
    with np.errstate(invalid="ignore"):
        k = np.maximum(0.0, np.floor(mean + z * np.sqrt(mean)))
    k = np.where(np.isnan(mean), 0.0, k)
    while True:  # the normal guess is off by a few: walk to the border, all periods at once
        too_low, too_high = ~reached(k), (k > 0) & reached(k - 1) & ~np.isnan(mean)
        if not (too_low.any() or too_high.any()):
            return np.where(np.isnan(mean), math.nan, k)
        k = k + np.where(too_low, 1.0, np.where(too_high, -1.0, 0.0))


def _false_alarm(low: Array, high: Array, mean: Array) -> Array:
    below = np.where(low > 0, special.pdtr(np.maximum(low - 1, 0), mean), 0.0)
    return np.asarray(below + special.pdtrc(high, mean), dtype=np.float64)


def _sigma_z(rate: Array, centre: float, time: Array) -> float:
    if rate.size < 2 or centre == 0:
        return math.nan
    z = (rate - centre) / np.sqrt(centre / time)
    return float(np.abs(np.diff(z)).mean()) / _D2


def _baseline(baseline: int | Values, n: int) -> Flags:
    if isinstance(baseline, int | np.integer) and not isinstance(baseline, bool):
        if not 1 <= baseline <= n:
            raise ValueError(f"baseline must be 1 to {n} periods, got {baseline}")
        return np.arange(n) < baseline
    marked = np.asarray(baseline).astype(np.bool_)
    if marked.shape != (n,):
        raise ValueError(f"baseline must have one entry per period ({n}), got {marked.size}")
    return marked


def _baseline_notes(n: int) -> tuple[str, ...]:
    if n >= _FEWEST_BASELINE:
        return ()
    return ("the centre line rests on few points, so the limits are rough",)
