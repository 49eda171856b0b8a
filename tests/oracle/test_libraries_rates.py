"""Against SciPy and statsmodels, in the functions where those are right."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from handling_review.stats import proportions, rates, ratios

COUNTS = [0, 1, 2, 3, 7, 18, 45, 300, 12_345, 1_000_000]
CONFIDENCES = [0.5, 0.8, 0.9, 0.95, 0.99, 0.998]
PAIRS = [(0, 7), (6, 0), (1, 1), (2, 9), (9, 18), (41, 15), (300, 412), (20_000, 4), (1_000_000, 998_000)]


@pytest.mark.parametrize("confidence", CONFIDENCES)
@pytest.mark.parametrize("events", COUNTS)
def test_exact_count_limits_are_chi_square_quantiles(events: int, confidence: float) -> None:
    """Garwood's limits as half of chi-square quantiles (Ulm 1990, Am J Epidemiol 131:373-375)."""
    tail = (1 - confidence) / 2
    found = rates.count_interval(events, confidence)
    lower = stats.chi2.ppf(tail, 2 * events) / 2 if events else 0.0
    assert found.lower == pytest.approx(lower, rel=1e-10)
    assert found.upper == pytest.approx(stats.chi2.isf(tail, 2 * events + 2) / 2, rel=1e-10)


@pytest.mark.parametrize("confidence", CONFIDENCES)
@pytest.mark.parametrize("events", COUNTS)
def test_mid_p_count_limits_leave_half_alpha_in_each_mid_tail(events: int, confidence: float) -> None:
    """Put the limits back into SciPy's Poisson tails: P(Y < y) + P(Y = y) / 2 and its mirror image."""
    tail = (1 - confidence) / 2
    found = rates.count_interval(events, confidence, "mid_p")
    at_upper = (stats.poisson.cdf(events - 1, found.upper) + stats.poisson.cdf(events, found.upper)) / 2
    assert at_upper == pytest.approx(tail, rel=1e-8)
    if events:
        at_lower = (stats.poisson.sf(events, found.lower) + stats.poisson.sf(events - 1, found.lower)) / 2
        assert at_lower == pytest.approx(tail, rel=1e-8)


@pytest.mark.parametrize("confidence", CONFIDENCES)
@pytest.mark.parametrize("events", COUNTS)
def test_upper_limit_leaves_alpha_below(events: int, confidence: float) -> None:
    mean = rates.upper_limit(events, 200_000, confidence)
    assert stats.poisson.cdf(events, mean) == pytest.approx(1 - confidence, rel=1e-8)


@pytest.mark.parametrize(("events1", "events0"), PAIRS)
@pytest.mark.parametrize("hours1", [1.0, 37.5, 2e-4])
def test_exact_ratio_is_the_binomial_test_of_the_split(events1: int, events0: int, hours1: float) -> None:
    """scipy.stats.binomtest: exact (Clopper-Pearson) limits of the share, one-sided p-values doubled."""
    found = ratios.rate_ratio(events1, hours1, events0, 1.0, method="exact")
    share = hours1 / (hours1 + 1)
    total = events1 + events0
    tails = [stats.binomtest(events1, total, share, alternative=side).pvalue for side in ("less", "greater")]
    assert found.p_value == pytest.approx(min(1.0, 2 * min(tails)), rel=1e-7, abs=1e-300)
    limits = stats.binomtest(events1, total).proportion_ci(0.95, method="exact")
    assert found.lower == pytest.approx(limits.low / (1 - limits.low) / hours1, rel=1e-7)
    if events0:
        assert found.upper == pytest.approx(limits.high / (1 - limits.high) / hours1, rel=1e-7)
    else:
        assert found.upper == math.inf


@pytest.mark.parametrize(("events1", "events0"), PAIRS)
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_mid_p_ratio_limits_leave_half_alpha_in_each_mid_tail(events1: int, events0: int, confidence: float) -> None:
    found = ratios.rate_ratio(events1, 3.0, events0, 4.0, confidence)
    tail, total = (1 - confidence) / 2, events1 + events0
    if events1:
        share = found.lower * 3 / (found.lower * 3 + 4)
        over = (stats.binom.sf(events1, total, share) + stats.binom.sf(events1 - 1, total, share)) / 2
        assert over == pytest.approx(tail, rel=1e-6)
    if events0:
        share = found.upper * 3 / (found.upper * 3 + 4)
        under = (stats.binom.cdf(events1, total, share) + stats.binom.cdf(events1 - 1, total, share)) / 2
        assert under == pytest.approx(tail, rel=1e-6)


def test_wilson_and_newcombe_against_statsmodels() -> None:
    from statsmodels.stats import proportion as reference

    for successes, n in [(0, 1), (1, 1), (3, 8), (47, 50), (980, 1000), (0, 40), (123_456, 1_000_000)]:
        for confidence in CONFIDENCES:
            found = proportions.wilson(successes, n, confidence)
            lower, upper = reference.proportion_confint(successes, n, 1 - confidence, method="wilson")
            assert found.lower == pytest.approx(max(0.0, lower), rel=1e-9, abs=1e-15)
            assert found.upper == pytest.approx(min(1.0, upper), rel=1e-9)
    for x1, n1, x0, n0 in [(56, 70, 48, 80), (6, 7, 2, 7), (0, 10, 0, 20), (180, 200, 150, 210)]:
        gap = proportions.newcombe(x1, n1, x0, n0)
        limits = reference.confint_proportions_2indep(x1, n1, x0, n0, method="newcomb", correction=False)
        assert [gap.lower, gap.upper] == pytest.approx(list(limits), rel=1e-9)


def test_difference_uses_the_square_and_add_rule_of_statsmodels() -> None:
    """statsmodels' "mover" takes any pair of intervals in its own way; here the rule is written out with
    limits from SciPy's chi-square quantiles, in another order of steps than ours."""
    y1, t1, y0, t0 = 5, 151_200.5, 14, 309_875.25
    low1, low0 = (stats.chi2.ppf(0.025, 2 * y) / 2 for y in (y1, y0))
    high1, high0 = (stats.chi2.ppf(0.975, 2 * y + 2) / 2 for y in (y1, y0))
    gap = y1 / t1 - y0 / t0
    lower = gap - math.sqrt(((y1 - low1) / t1) ** 2 + ((high0 - y0) / t0) ** 2)
    upper = gap + math.sqrt(((high1 - y1) / t1) ** 2 + ((y0 - low0) / t0) ** 2)
    found = ratios.rate_difference(y1, t1, y0, t0, method="exact")
    assert np.allclose([found.estimate, found.lower, found.upper], np.array([gap, lower, upper]) * 200_000, rtol=1e-9)
