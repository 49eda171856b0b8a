"""Proportions (audits passed, people trained) and their differences."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import special

from handling_review.stats import _inputs


@dataclass(frozen=True)
class Proportion:
    """A proportion between 0 and 1 with its interval."""

    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True)
class ProportionDifference:
    """Proportion 1 minus proportion 0, between -1 and 1, with its interval."""

    estimate: float
    lower: float
    upper: float


def wilson(successes: float, n: float, confidence: float = 0.95) -> Proportion:
    """Proportion ``successes / n`` with its score interval (without continuity correction).

    Args:
        successes: how many of the ``n``, 0 to n.
        n: number looked at, at least 1.
        confidence: for example 0.95.

    Raises:
        ValueError: counts that are negative or not whole, n of 0, more successes than n, confidence outside
            (0, 1).

    Source: Wilson 1927, JASA 22:209-212; method 3 of Newcombe 1998, Stat Med 17:857-872.
    """
    x, total = _inputs.count("successes", successes), _inputs.count("n", n)
    if total < 1 or x > total:
        raise ValueError(f"successes must be 0 to n and n at least 1, got {x} of {total}")
    tail = (1 - _inputs.share("confidence", confidence)) / 2
    z = -float(special.ndtri(tail))
    return Proportion(x / total, _wilson_lower(x, total, z), 1 - _wilson_lower(total - x, total, z))


def newcombe(x1: float, n1: float, x0: float, n0: float, confidence: float = 0.95) -> ProportionDifference:
    """Difference ``x1 / n1 - x0 / n0`` of two independent proportions, hybrid score interval.

    Args and errors as in ``wilson``. Source: method 10 of Newcombe 1998, Stat Med 17:873-890.
    """
    one, zero = wilson(x1, n1, confidence), wilson(x0, n0, confidence)
    estimate = one.estimate - zero.estimate
    return ProportionDifference(
        estimate,
        max(-1.0, estimate - math.hypot(one.estimate - one.lower, zero.upper - zero.estimate)),
        min(1.0, estimate + math.hypot(one.upper - one.estimate, zero.estimate - zero.lower)),
    )


def _wilson_lower(x: int, n: int, z: float) -> float:
    """Smaller root of (n + z^2) p^2 - (2x + z^2) p + x^2/n = 0, as product of roots over the larger one."""
    if x == 0:
        return 0.0
    larger = (2 * x + z * z + z * math.sqrt(z * z + 4 * x * (n - x) / n)) / (2 * (n + z * z))
    return x * x / n / (n + z * z) / larger
