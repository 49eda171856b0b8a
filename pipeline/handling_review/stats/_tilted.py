"""A count whose distribution is known up to one ratio: tails, limits and p-values of that ratio.

Given totals, the number of events in group 1 has probabilities proportional to w(k) * ratio**k, with weights w
that no unknown enters (a sum of binomials, or a noncentral hypergeometric count). Everything is done relative
to a ratio near the data, so that sums run over positive terms that fall away from the count observed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from handling_review.stats import _roots
from handling_review.stats._inputs import Array

NEGLIGIBLE = 1e-45  # probabilities this much smaller than the largest cannot reach a digit
_FARTHEST = 1e4  # log ratio at which a search for a bracket gives up; no count allowed here gets near


@dataclass(frozen=True, eq=False)
class Tilted:
    """The distribution of ``count - observed``.

    steps: whole numbers around 0 (the observed count), in order, 1-D.
    log_weights: log probability of each step at the log ratio ``centre``.
    log_scale: log of the normalising sum at a log ratio, relative to that at ``centre``.
    """

    steps: Array
    log_weights: Array
    centre: float
    log_scale: Callable[[float], float]
    at_bottom: bool
    at_top: bool

    def tails(self, log_ratio: float) -> tuple[float, float, float]:
        """P(count >= observed), P(count = observed), P(count <= observed) at a log ratio."""
        shift = log_ratio - self.centre
        # the steps that grow with the shift are never summed: they may overflow without harm
        with np.errstate(over="ignore"):
            terms = np.exp(self.log_weights + self.steps * shift - self.log_scale(log_ratio))
        point = float(terms[self.steps == 0].sum())
        if shift < 0:
            up = 1.0 if self.at_bottom else min(1.0, float(terms[self.steps >= 0].sum()))
            return up, point, point if self.at_bottom else 1 - up + point
        down = 1.0 if self.at_top else min(1.0, float(terms[self.steps <= 0].sum()))
        return point if self.at_top else 1 - down + point, point, down

    def limits(self, tail: float, mid_p: bool) -> tuple[float, float]:
        """The ratios at which the upper, respectively lower, (mid-)tail equals ``tail``."""
        half = 0.5 if mid_p else 0.0

        def upper_tail(log_ratio: float) -> float:
            up, point, _ = self.tails(log_ratio)
            return up - half * point - tail

        def lower_tail(log_ratio: float) -> float:
            _, point, down = self.tails(log_ratio)
            return down - half * point - tail

        lower = 0.0 if self.at_bottom else math.exp(self._solve(upper_tail, rising=True))
        upper = math.inf if self.at_top else math.exp(self._solve(lower_tail, rising=False))
        return lower, upper

    def p_value(self, log_ratio: float, mid_p: bool) -> float:
        """Twice the smaller (mid-)tail at a log ratio, at most 1."""
        up, point, down = self.tails(log_ratio)
        half = 0.5 if mid_p else 0.0
        return min(1.0, 2 * min(up - half * point, down - half * point))

    def _solve(self, function: Callable[[float], float], *, rising: bool) -> float:
        sign = 1.0 if rising else -1.0
        low, high = self.centre - 1, self.centre + 1
        reach = 1.0
        while sign * function(low) > 0 and reach < _FARTHEST:
            low, reach = low - reach, 2 * reach
        reach = 1.0
        while sign * function(high) < 0 and reach < _FARTHEST:
            high, reach = high + reach, 2 * reach
        return root(function, low, high)


def root(function: Callable[[float], float], low: float, high: float) -> float:
    """The root of one monotone function inside [low, high]."""
    found = _roots.bracketed(
        lambda x, _: np.array([function(float(value)) for value in x]), np.array([low]), np.array([high])
    )
    return float(found[0])


def convolve(one: tuple[int, Array], other: tuple[int, Array]) -> tuple[int, Array]:
    """Start and probabilities of the sum of two independent counts, trimmed; only positive terms add up."""
    weights = np.convolve(one[1], other[1])
    kept = np.flatnonzero(weights > NEGLIGIBLE * weights.max())
    start = one[0] + other[0] + int(kept[0])
    return start, weights[kept[0] : kept[-1] + 1]
