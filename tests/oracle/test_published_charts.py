"""Money and charts against printed tables and other ways of computing them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, special, stats

from handling_review.stats import charts, cusum, funnel, money, severity

# Collins 2004, Inj Prev 10:206: lifts and training cost $158,556, $55,000 a year saved (printed); present
# values by the plain annuity formula, whole dollars.
COLLINS = {
    3: {0.0: 6_444, 0.03: -2_982, 0.05: -8_777, 0.07: -14_219, 0.10: -21_779},
    5: {0.0: 116_444, 0.03: 93_328, 0.05: 79_565, 0.07: 66_955, 0.10: 49_937},
    10: {0.0: 391_444, 0.03: 310_605, 0.05: 266_139, 0.07: 227_741, 0.10: 179_395},
}
# Brophy 2001: $201,100 a year before, $91,800 after, equipment $163,910, $546,500 saved over five years.
BROPHY = {0.0: 382_590, 0.03: 336_652, 0.05: 309_302, 0.07: 284_242}


@pytest.mark.parametrize(
    ("years", "rate", "value"),
    [(years, rate, value) for years, row in COLLINS.items() for rate, value in row.items()],
)
def test_present_value_of_six_nursing_homes(years: int, rate: float, value: float) -> None:
    assert round(money.npv([-158_556] + [55_000] * years, rate)) == value


def test_recovered_in_under_three_years_is_true_undiscounted_and_false_at_3_percent() -> None:
    flows = [-158_556] + [55_000] * 3
    assert round(money.payback(flows), 2) == round(158_556 / 55_000, 2) == 2.88
    assert money.payback(flows, 0.03) == math.inf


@pytest.mark.parametrize(("rate", "value"), BROPHY.items())
def test_present_value_of_a_525_bed_home(rate: float, value: float) -> None:
    assert 201_100 - 91_800 == 109_300
    assert round(money.npv([-163_910] + [109_300] * 5, rate)) == value


def test_payback_and_ratio_of_a_525_bed_home() -> None:
    """Printed: $546,500 over five years; payback 1.50 years and ratio 3.33 follow."""
    assert 5 * 109_300 == 546_500
    assert round(money.payback([-163_910] + [109_300] * 5), 2) == 1.50
    assert round(546_500 / 163_910, 2) == 3.33


def test_claims_saved_that_break_even_at_5_percent() -> None:
    """Park 2009, Am J Ind Med 52:683: $768 of claims saved over ten years after $500 spent, present value
    $495 printed. It equals 768 / 1.05 ** 9: one sum at the end of year nine, not ten equal ones."""
    assert round(money.npv([0] * 9 + [768], 0.05)) == 495
    assert round(money.npv([0] + [76.8] * 10, 0.05)) == 593


def test_cases_that_break_even_are_the_outlay_over_the_annuity() -> None:
    """$60,000 and $5,000 a year over five years at 3 %: annuity (1 - 1.03 ** -5) / 0.03 = 4.5797."""
    annuity = (1 - 1.03**-5) / 0.03
    found = money.break_even_cases(60_000, 5_000, 9_000, 5, 0.03)
    assert found == pytest.approx((60_000 / annuity + 5_000) / 9_000, rel=1e-12)
    flows = [-60_000] + [found * 9_000 - 5_000] * 5
    assert money.npv(flows, 0.03) == pytest.approx(0, abs=1e-8)


def test_three_sigma_lower_limit_is_0_below_nine_expected() -> None:
    """c - 3 sqrt(c) > 0 only from c = 9 (Montgomery): a reason for probability limits at small counts."""
    for expected, is_cut in ((8, True), (9, True), (10, False)):
        found = charts.u_limits([expected] * 8, [2e5] * 8, 8, "sigma")
        assert (found.lower[0] == 0) == is_cut


@pytest.mark.parametrize("mean", [0.05, 0.7, 2.0, 5.5, 19.3, 140.0, 12_345.6])
@pytest.mark.parametrize("alpha", [0.0027, 0.05])
def test_probability_limits_equal_scipys_poisson_quantiles(mean: float, alpha: float) -> None:
    low, high = charts.probability_limits([mean], alpha)
    assert low[0] == stats.poisson.ppf(alpha / 2, mean)
    assert high[0] == stats.poisson.ppf(1 - alpha / 2, mean)
    assert stats.poisson.cdf(low[0] - 1, mean) < alpha / 2
    assert stats.poisson.sf(high[0], mean) <= alpha / 2


@pytest.mark.parametrize("upward", [True, False])
@pytest.mark.parametrize(("mean", "k", "h"), [(2.0, 3.0, 4.0), (0.5, 0.75, 2.5), (4.0, 5.5, 3.0), (2.0, 2.8854, 3.1)])
def test_average_run_length_equals_running_the_chart(mean: float, k: float, h: float, upward: bool) -> None:
    """Seeded runs of the chart itself; the mean of 20,000 of them within five standard errors."""
    if not upward:
        mean, k = k, mean
    random = np.random.default_rng(1985)
    sums, lengths, running = np.zeros(20_000), np.zeros(20_000), np.ones(20_000, dtype=bool)
    while running.any():
        counts = random.poisson(mean, 20_000)
        sums = np.maximum(0, sums + (counts - k if upward else k - counts))
        lengths += running
        running &= sums < h - 1e-9
    error = lengths.std() / math.sqrt(lengths.size)
    assert abs(cusum.run_length(mean, k, h, upward=upward) - lengths.mean()) < 5 * error


def test_funnel_limits_lie_between_the_whole_counts_of_scipys_quantiles() -> None:
    """Interpolation moves a limit by less than one count below the quantile."""
    hours = np.geomspace(5_000, 5e6, 40)
    found = funnel.limits(8.2, hours)
    for row, level in enumerate(found.levels):
        for p, limit in (((1 - level) / 2, found.lower[row]), ((1 + level) / 2, found.upper[row])):
            quantile = stats.poisson.ppf(p, 8.2 * hours / 2e5)
            count = limit * hours / 2e5
            assert (count <= quantile + 1e-9).all()
            assert (count >= np.maximum(quantile - 1, 0) - 1e-9).all()


def test_widened_limits_follow_the_variance_between_units() -> None:
    """target +- z sqrt(s^2 + tau^2), written out (Spiegelhalter 2005)."""
    hours = np.array([1e5, 1e6])
    found = funnel.limits(8, hours, (0.95,), tau2=4.0)
    wide = special.ndtri(0.975) * np.sqrt(8 * 2e5 / hours + 4)
    assert found.upper[0] == pytest.approx(8 + wide, rel=1e-12)
    assert found.lower[0] == pytest.approx(np.maximum(0, 8 - wide), rel=1e-12)


def test_variance_between_units_equals_the_dersimonian_laird_one_of_statsmodels() -> None:
    """With the pooled rate as target the weights make both the same (without winsorising)."""
    from statsmodels.stats.meta_analysis import combine_effects

    events = np.array([5, 40, 8, 30, 12, 45, 3, 38, 9, 33])
    hours = np.array([90, 160, 200, 240, 180, 210, 60, 250, 120, 200]) * 1e3
    found = funnel.dispersion(events, hours, winsorise=0.0)
    target = events.sum() * 2e5 / hours.sum()
    reference = combine_effects(events * 2e5 / hours, target * 2e5 / hours, method_re="chi2")
    assert found.tau2 == pytest.approx(reference.tau2, rel=1e-9)
    assert found.statistic == pytest.approx(reference.q, rel=1e-9)
    assert found.widen


def test_severity_interval_equals_the_exact_compound_poisson_distribution() -> None:
    """Panjer 1981 recursion: the distribution of all days when cases are Poisson and lengths as seen."""
    days, hours = [3, 0, 12, 40, 5, 5, 21], 400_000
    share = np.bincount(days) / len(days)
    total = np.zeros(600)
    total[0] = math.exp(-len(days) * (1 - share[0]))
    for s in range(1, total.size):
        j = np.arange(1, min(s, share.size - 1) + 1)
        total[s] = len(days) / s * (j * share[j] * total[s - j]).sum()
    assert total.sum() == pytest.approx(1, abs=1e-9)
    edges = np.searchsorted(np.cumsum(total), [0.025, 0.975]) * 2e5 / hours
    found = severity.compound_rate(days, hours, draws=40_000)
    assert found.rate_per_200k == pytest.approx(sum(days) * 200_000 / hours, rel=1e-12)
    assert found.lower == pytest.approx(edges[0], abs=1.5)
    assert found.upper == pytest.approx(edges[1], abs=1.5)


def test_money_simulation_agrees_with_integration() -> None:
    """Limits of the saving against the difference of two gamma variables of shape y + 1/2, integrated by
    SciPy; the NPV is linear in the saving."""
    nine = money.budget_case(
        9,
        412_000,
        18,
        398_500,
        hours_per_year=4e5,
        cost=money.CostPerCase(9_000, 9_000, 9_000),
        outlay=60_000,
        yearly_cost=5_000,
        draws=200_000,
    )
    saving = nine.saving_per_year
    before, after = stats.gamma(18.5, scale=1 / 398_500), stats.gamma(9.5, scale=1 / 412_000)
    assert saving.estimate == pytest.approx((18 / 398_500 - 9 / 412_000) * 4e5 * 9_000, rel=1e-12)
    for limit, share in ((saving.lower, 0.025), (saving.upper, 0.975)):
        gap = limit / 9_000 / 4e5
        below, _ = integrate.quad(lambda u, gap=gap: float(before.cdf(gap + after.ppf(u))), 0, 1)
        assert below == pytest.approx(share, abs=0.002)  # five standard errors of 200,000 draws
    for at in nine.at_rates:
        annuity = sum((1 + at.rate) ** -year for year in range(1, 6))
        for of_npv, of_saving in (
            (at.npv.estimate, saving.estimate),
            (at.npv.lower, saving.lower),
            (at.npv.upper, saving.upper),
        ):
            assert of_npv == pytest.approx(of_saving * annuity - 60_000 - 5_000 * annuity, rel=1e-9)
