"""How often the intervals hold the truth, by adding up exact probabilities (no simulation)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from handling_review.stats import rates, ratios

RATIOS = (0.3, 0.5, 0.7, 1.0, 1.5)
MEANS = (3, 4, 6, 8, 10, 14, 20, 27, 35)
HOURS = (1.0, 0.4, 2.5)  # hours after over hours before


def _coverage(method: str, expected0: float, ratio: float, hours_ratio: float) -> float:
    expected1 = expected0 * ratio * hours_ratio
    top1, top0 = (int(stats.poisson.isf(1e-13, mean)) + 2 for mean in (expected1, expected0))
    one, zero = (grid.ravel() for grid in np.meshgrid(np.arange(top1), np.arange(top0), indexing="ij"))
    weight = stats.poisson.pmf(one, expected1) * stats.poisson.pmf(zero, expected0)
    heavy = weight > 1e-14
    one, zero, weight = one[heavy], zero[heavy], weight[heavy]
    hours1, hours0 = np.full(one.size, hours_ratio), np.ones(one.size)
    found = ratios.rate_ratio(one, hours1, zero, hours0, method=method)
    return float(weight[(found.lower <= ratio) & (ratio <= found.upper)].sum() / weight.sum())


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
