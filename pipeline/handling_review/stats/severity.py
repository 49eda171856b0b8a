"""Days away and restricted per 200,000 hours, where one long case can outweigh all others."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from handling_review.stats import _inputs
from handling_review.stats._inputs import BASE_HOURS, Array, Values

DRAWS = 10_000
_SEED = 20_100_407
_BLOCK = 2_000_000  # random numbers held at a time


@dataclass(frozen=True)
class CompoundRate:
    """Days per 200,000 hours with its interval.

    Attributes:
        rate_per_200k, lower, upper: days per 200,000 hours. Without any case the upper limit is infinite:
            nothing is known about how long a case would be.
        cases, days: what they rest on.
        longest: days of the longest case (0 without cases).
        without_longest, without_longest_lower, without_longest_upper: the same with that case left out.
    """

    rate_per_200k: float
    lower: float
    upper: float
    cases: int
    days: float
    longest: float
    without_longest: float
    without_longest_lower: float
    without_longest_upper: float


def compound_rate(
    days: Values,
    hours: float,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = _SEED,
) -> CompoundRate:
    """Lost and restricted days per 200,000 hours, with an interval that knows both chances.

    How many cases happen is Poisson, how long each lasts is drawn from the cases seen: the bootstrap of a
    compound Poisson sum. Taking each case a Poisson(1) number of times is the same thing; cases of one length
    are taken together.

    Args:
        days: days away plus days restricted, one entry per case, 0 or more.
        hours: hours worked over the same time, above 0.
        confidence: for example 0.95 (percentile interval).
        draws: bootstrap samples, at least 100.
        seed: of the random numbers; the same seed gives the same interval.

    Returns:
        ``CompoundRate``. With few cases the interval is too short, because the longest case that could have
        happened was not seen: read it beside the number of cases.

    Raises:
        ValueError: negative or missing days, hours not above 0, confidence outside (0, 1), too few draws.

    Source: Efron & Tibshirani 1993, An Introduction to the Bootstrap; compound Poisson variance: sum of
    squared durations.
    """
    lost = np.atleast_1d(_inputs.not_negative("days", days))
    time = _inputs.positive_number("hours", hours)
    level = _inputs.share("confidence", confidence)
    if draws < 100:
        raise ValueError(f"draws must be 100 or more, got {draws}")
    scale = BASE_HOURS / time
    longest = float(lost.max()) if lost.size else 0.0
    rest = np.delete(lost, int(np.argmax(lost))) if lost.size else lost
    lower, upper = _interval(lost, level, draws, seed)
    rest_lower, rest_upper = _interval(rest, level, draws, seed)
    return CompoundRate(
        rate_per_200k=math.fsum(lost) * scale,
        lower=lower * scale,
        upper=upper * scale,
        cases=lost.size,
        days=math.fsum(lost),
        longest=longest,
        without_longest=math.fsum(rest) * scale,
        without_longest_lower=rest_lower * scale,
        without_longest_upper=rest_upper * scale,
    )


def _interval(days: Array, level: float, draws: int, seed: int) -> tuple[float, float]:
    if days.size == 0:
        return 0.0, math.inf
    lengths, times = np.unique(days, return_counts=True)
    random = np.random.default_rng(seed)
    block = max(1, _BLOCK // lengths.size)
    sums = [
        random.poisson(times, (min(block, draws - first), lengths.size)) @ lengths for first in range(0, draws, block)
    ]
    low, high = np.quantile(np.concatenate(sums), [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)
