"""What a comparison of two rates could have shown: power, events, hours and quarters needed."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from handling_review.stats import _inputs, _tilted
from handling_review.stats._inputs import BASE_HOURS, Array
from handling_review.stats.ratios import METHODS

LARGEST_EXPECTED = 1e7  # beyond this the enumeration grows out of hand, and power is 1 for any real change
_MOST_RATIO = 1e6
_BLOCK = 256  # totals whose borders are worked out together


@dataclass(frozen=True)
class HoursNeeded:
    """Hours after the start that a comparison needs, and how many more quarters that is.

    Both are infinite when the hours before are too few for any number of hours after.
    """

    hours_after: float
    quarters_still_needed: float


def power(
    expected_events0: float,
    hours_ratio: float,
    ratio: float,
    alpha: float = 0.05,
    method: str = "mid_p",
) -> float:
    """Probability that the two-sided test of two rates finds a difference when the true ratio is ``ratio``.

    Adds up, over the totals that may occur, the probability of the splits at which the conditional test
    rejects. No normal approximation enters.

    Args:
        expected_events0: expected events before, above 0.
        hours_ratio: hours after over hours before, above 0.
        ratio: true rate ratio after / before, 0 or more (1 gives the size of the test).
        alpha: two-sided level.
        method: ``"mid_p"`` or ``"exact"``, the p-value of ``ratios.rate_ratio``.

    Returns:
        A probability.

    Raises:
        ValueError: values outside the ranges above, unknown method.

    Source: Przyborowski & Wilenski 1940, Biometrika 31:313-323 (conditional test); enumeration as in Krishnamoorthy
    & Thomson 2004, J Stat Plan Inference 119:23-35.
    """
    lower, upper = _rejections(expected_events0, hours_ratio, ratio, alpha, method)
    return min(1.0, lower + upper)


def events_needed(
    ratio: float,
    hours_ratio: float = 1.0,
    power_wanted: float = 0.8,
    alpha: float = 0.05,
    method: str = "mid_p",
) -> float:
    """Expected events before that give the wanted power for a true rate ratio.

    Args: as in ``power``; ``ratio`` other than 1. ``power_wanted`` above ``alpha``.

    Returns:
        Expected events before (not whole). ``hours_needed`` turns them into hours.

    Raises:
        ValueError: as in ``power``; a ratio so near 1 that more than 10 million events would be needed.
    """
    wanted = _wanted(power_wanted, alpha)
    true_ratio = float(_inputs.not_negative("ratio", ratio))
    if true_ratio == 1:
        raise ValueError("ratio must differ from 1: no number of events shows a difference that is not there")

    def gap(log_events: float) -> float:
        return power(math.exp(log_events), hours_ratio, true_ratio, alpha, method) - wanted

    low = high = math.log(_rough_events(true_ratio, hours_ratio, wanted, alpha))
    while gap(low) > 0:
        low -= 0.5
    while gap(high) < 0:
        high += 0.5
    return math.exp(_tilted.root(gap, low, high))


def hours_needed(
    rate0_per_200k: float,
    ratio: float,
    hours_ratio: float = 1.0,
    power_wanted: float = 0.8,
    alpha: float = 0.05,
    method: str = "mid_p",
) -> float:
    """Hours before that give the wanted power (hours after: this times ``hours_ratio``).

    Args: as in ``events_needed``; ``rate0_per_200k`` is the rate before, per 200,000 hours, above 0.
    """
    rate0 = _inputs.positive_number("rate0_per_200k", rate0_per_200k)
    return BASE_HOURS * events_needed(ratio, hours_ratio, power_wanted, alpha, method) / rate0


def quarters_needed(
    events0: float,
    hours0: float,
    hours1: float,
    hours_per_quarter: float,
    ratio: float,
    power_wanted: float = 0.8,
    alpha: float = 0.05,
    method: str = "mid_p",
) -> HoursNeeded:
    """How many more quarters after the start are needed to have the wanted power.

    Args:
        events0, hours0: events and hours before, taken as what to expect from such hours.
        hours1: hours after so far, 0 or more.
        hours_per_quarter: hours that a coming quarter adds, above 0.
        ratio: true rate ratio that should be found, 0 or more, not 1.
        power_wanted, alpha, method: as in ``events_needed``.

    Returns:
        ``HoursNeeded``; quarters rounded up, 0 if the hours are there already.

    Raises:
        ValueError: values outside the ranges above.
    """
    expected0 = float(_inputs.count("events0", events0))
    before = _inputs.positive_number("hours0", hours0)
    so_far = float(_inputs.not_negative("hours1", hours1))
    per_quarter = _inputs.positive_number("hours_per_quarter", hours_per_quarter)
    wanted = _wanted(power_wanted, alpha)
    true_ratio = float(_inputs.not_negative("ratio", ratio))
    if true_ratio == 1:
        raise ValueError("ratio must differ from 1: no number of hours shows a difference that is not there")
    if expected0 == 0:
        return HoursNeeded(math.inf, math.inf)

    def gap(log_hours_ratio: float) -> float:
        return power(expected0, math.exp(log_hours_ratio), true_ratio, alpha, method) - wanted

    top = math.log(min(1e3, LARGEST_EXPECTED / expected0 / max(true_ratio, 1.0)))
    if gap(top) < 0:
        return HoursNeeded(math.inf, math.inf)
    hours_after = before * math.exp(_first_reached(gap, -12.0, top))
    missing = max(0.0, hours_after - so_far) / per_quarter
    return HoursNeeded(hours_after, float(math.ceil(missing - 1e-9)))


def smallest_detectable(
    expected_events0: float,
    hours_ratio: float = 1.0,
    power_wanted: float = 0.8,
    alpha: float = 0.05,
    method: str = "mid_p",
) -> float:
    """Smallest true reduction that would be found, as a lower rate, with the wanted power.

    Args: as in ``power``. Only rejections on the side of a reduction count.

    Returns:
        A share: 0.6 means that a fall by 60 % or more would be found. ``nan`` when even a fall to nothing
        would not be.
    """
    wanted = _wanted(power_wanted, alpha)

    def gap(ratio: float) -> float:
        return _rejections(expected_events0, hours_ratio, ratio, alpha, method)[0] - wanted

    if gap(0.0) < 0:
        return math.nan
    return 1 - _tilted.root(gap, 0.0, 1.0)


def _wanted(power_wanted: float, alpha: float) -> float:
    wanted = _inputs.share("power_wanted", power_wanted)
    if wanted <= _inputs.share("alpha", alpha):
        raise ValueError("power_wanted must be above alpha")
    return wanted


def _rough_events(ratio: float, hours_ratio: float, wanted: float, alpha: float) -> float:
    """Where to start looking: the log-ratio formula, (z + z)^2 (1 + 1 / (k r)) / log(r)^2 events before."""
    odds = _inputs.positive_number("hours_ratio", hours_ratio)
    near = min(max(ratio, 0.05), 1e3)
    z = float(special.ndtri(wanted) - special.ndtri(alpha / 2))
    found = z**2 * (1 + 1 / (odds * near)) / math.log(near) ** 2
    if found * (1 + odds * ratio) > LARGEST_EXPECTED / 2:
        raise ValueError(f"ratio must be farther from 1 than {ratio}: more events than can be counted")
    return found


def _first_reached(gap: Callable[[float], float], low: float, high: float) -> float:
    """Where ``gap`` first stops being negative, to nine digits and never short of it.

    The borders of rejection jump as the hours change, so that power rises in small steps: no root is exact.
    """
    top = next((float(place) for place in np.arange(low, high, 0.25) if gap(float(place)) >= 0), high)
    bottom = top - 0.25
    while top - bottom > 1e-9:
        middle = (bottom + top) / 2
        bottom, top = (bottom, middle) if gap(middle) >= 0 else (middle, top)
    return top


def _rejections(
    expected_events0: float, hours_ratio: float, ratio: float, alpha: float, method: str
) -> tuple[float, float]:
    """Probabilities that the test rejects towards fewer, and towards more, events after."""
    expected0 = _inputs.positive_number("expected_events0", expected_events0)
    odds = _inputs.positive_number("hours_ratio", hours_ratio)
    true_ratio = float(_inputs.not_negative("ratio", ratio))
    if true_ratio > _MOST_RATIO or odds > _MOST_RATIO:
        raise ValueError(f"ratio and hours_ratio must not exceed {_MOST_RATIO:.0e}")
    level = _inputs.share("alpha", alpha)
    _inputs.choice("method", method, METHODS)
    mean = expected0 * (1 + odds * true_ratio)
    if mean > LARGEST_EXPECTED:
        raise ValueError(f"expected_events0 must give at most {LARGEST_EXPECTED:.0e} events in all")
    reach = 9 * math.sqrt(mean) + 40  # beyond, Poisson totals have less than 1e-18 left
    totals: Array = np.arange(max(0.0, math.floor(mean - reach)), math.ceil(mean + reach) + 1)
    weights = np.exp(special.xlogy(totals, mean) - mean - special.gammaln(totals + 1))
    weights /= weights.sum()
    low = _borders(totals, odds / (1 + odds), level / 2, method)
    high = _borders(totals, 1 / (1 + odds), level / 2, method)  # events before, groups exchanged
    share = odds * true_ratio / (1 + odds * true_ratio)
    fewer = np.where(low >= 0, _at_most(low, totals, share), 0.0)
    more = np.where(high >= 0, _at_most(high, totals, 1 - share), 0.0)
    return float((weights * fewer).sum()), float((weights * more).sum())


def _borders(totals: Array, share: float, tail: float, method: str) -> Array:
    """``_largest_rejected`` of consecutive totals; blocks are kept, as a search asks for the same ones again."""
    first, last = int(totals[0]), int(totals[-1])
    blocks = range(first // _BLOCK, last // _BLOCK + 1)
    found = np.concatenate([_block(number, share, tail, method) for number in blocks])
    return found[first - blocks[0] * _BLOCK :][: totals.size]


@lru_cache(maxsize=2048)
def _block(number: int, share: float, tail: float, method: str) -> Array:
    return _largest_rejected(np.arange(number * _BLOCK, (number + 1) * _BLOCK, dtype=float), share, tail, method)


def _largest_rejected(totals: Array, share: float, tail: float, method: str) -> Array:
    """For each total the largest count whose lower (mid-)tail is at most ``tail``; -1 if there is none."""

    def is_rejected(counts: Array) -> NDArray[np.bool_]:
        below = np.where(counts > 0, _at_most(np.maximum(counts - 1, 0), totals, share), 0.0)
        at_most = _at_most(np.maximum(counts, 0), totals, share)
        found = (below + at_most) / 2 if method == "mid_p" else at_most
        return np.asarray((counts < 0) | (found <= tail), dtype=np.bool_)

    guess = totals * share + special.ndtri(tail) * np.sqrt(totals * share * (1 - share))
    counts = np.clip(np.floor(guess), -1.0, totals)
    while True:  # the normal guess is off by a few: walk to the border, all totals at once
        can_rise = (counts < totals) & is_rejected(np.minimum(counts + 1, totals))
        must_fall = ~is_rejected(counts)
        if not (can_rise.any() or must_fall.any()):
            return counts
        counts = counts + np.where(must_fall, -1.0, np.where(can_rise, 1.0, 0.0))


def _at_most(counts: Array, totals: Array, share: float) -> Array:
    """P(binomial count <= counts) for each total."""
    inside = counts < totals
    rest = np.where(inside, totals - counts, 1.0)
    tail = special.betaincc(counts + 1, rest, share)
    return np.asarray(np.where(inside, tail, 1.0), dtype=np.float64)
