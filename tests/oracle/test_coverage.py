"""How often the intervals hold the truth, by adding up exact probabilities (no simulation)."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy import stats

from handling_review.stats import rates, ratios

RATIOS = (0.3, 0.5, 0.7, 1.0, 1.5)
MEANS = (3, 4, 6, 8, 10, 14, 20, 27, 35)
HOURS = (1.0, 0.4, 2.5)  # hours after over hours before


def _counts_up_to(mean: float) -> np.ndarray:
    return np.arange(int(stats.poisson.isf(1e-13, mean)) + 2)


@cache
def _limits(method: str, hours_ratio: float) -> tuple[np.ndarray, np.ndarray]:
    """Interval of every pair of counts that any of the means here makes likely, shape (after, before)."""
    one, zero = np.meshgrid(
        _counts_up_to(max(MEANS) * max(RATIOS) * hours_ratio), _counts_up_to(max(MEANS)), indexing="ij"
    )
    found = ratios.rate_ratio(
        one.ravel(), np.full(one.size, hours_ratio), zero.ravel(), np.ones(one.size), method=method
    )
    return found.lower.reshape(one.shape), found.upper.reshape(one.shape)


def _coverage(method: str, expected0: float, ratio: float, hours_ratio: float) -> float:
    one, zero = _counts_up_to(expected0 * ratio * hours_ratio), _counts_up_to(expected0)
    lower, upper = (limit[: one.size, : zero.size] for limit in _limits(method, hours_ratio))
    weight = np.outer(stats.poisson.pmf(one, expected0 * ratio * hours_ratio), stats.poisson.pmf(zero, expected0))
    return float(weight[(lower <= ratio) & (ratio <= upper)].sum() / weight.sum())


@pytest.mark.parametrize("hours_ratio", HOURS)
@pytest.mark.parametrize("ratio", RATIOS)
def test_coverage_of_the_ratio_interval(ratio: float, hours_ratio: float) -> None:
    """Mid-P keeps between .94 and .99 and exact never falls below .95, with 3 to 35 events expected
    before and about 1 or more after. (With next to none after, mid-P covers more than .99.)"""
    checked = 0
    for expected0 in MEANS:
        if expected0 * ratio * hours_ratio < 0.9:
            continue
        checked += 1
        assert 0.94 <= _coverage("mid_p", expected0, ratio, hours_ratio) <= 0.99
        assert _coverage("exact", expected0, ratio, hours_ratio) >= 0.95
    assert checked >= 5


@pytest.mark.parametrize("mean", np.geomspace(0.05, 60, 200))
def test_exact_count_interval_never_covers_less_than_stated(mean: float) -> None:
    """Garwood 1936: the coverage is at least the confidence whatever the mean."""
    counts = np.arange(int(stats.poisson.isf(1e-13, mean)) + 2)
    found = rates.count_interval(counts)
    holds = (found.lower <= mean) & (mean <= found.upper)
    assert stats.poisson.pmf(counts[holds], mean).sum() >= 0.95 - 1e-12
