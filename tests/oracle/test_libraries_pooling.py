"""Pooled ratios of facilities against a published analysis, general libraries, and simulation with known truth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_linear_model import GLM
from statsmodels.stats.meta_analysis import combine_effects

from handling_review.stats import pooling, ratios

# Nine trials of catheters, infections and catheter days on either side: Niel-Weise, Stijnen and van den Broek 2008,
# Journal of Hospital Infection 69:114-123, as used in Stijnen, Hamza and Ozdemir 2010, table VIII, page 3055.
TREATED = ([7, 8, 3, 6, 1, 1, 17, 3, 2], [1344, 1600, 12012, 1536, 370, 729, 6760, 1107, 320])
STANDARD = ([11, 8, 14, 10, 1, 8, 15, 7, 3], [1988, 1461, 10962, 1503, 483, 913, 6840, 1015, 440])


def drawn(seed: int, k: int, usual: float = 8.0, tau: float = 0.3) -> tuple[np.ndarray, ...]:
    """Facilities whose true ratio is 0.6 in the middle, with ``usual`` cases per 200,000 hours before."""
    draw = np.random.default_rng(seed)
    hours1, hours0 = draw.uniform(1e5, 1e6, k), draw.uniform(1e5, 1e6, k)
    truth = np.log(0.6) + tau * draw.standard_normal(k)
    rate = draw.uniform(0.5, 1.5, k) * usual
    return (
        draw.poisson(rate * np.exp(truth) * hours1 / 2e5).astype(float),
        hours1,
        draw.poisson(rate * hours0 / 2e5).astype(float),
        hours0,
    )


def test_the_published_binomial_normal_fit_of_nine_trials() -> None:
    # Published to the digits checked: log ratio -0.476, spread between trials 0.350, ratio 0.621; an independent fit
    # by R's metafor 2.2 gives -0.4762 and 0.3501.
    found = pooling.conditional(*TREATED, *STANDARD)
    assert math.log(found.average.estimate) == pytest.approx(-0.4762, abs=5e-5)
    assert found.heterogeneity.tau == pytest.approx(0.3501, abs=5e-5)
    assert found.facilities == 9


def test_the_published_test_of_one_common_ratio() -> None:
    # The same trials by metafor: Q = 9.698 on 8 degrees of freedom, p = 0.287.
    found = pooling.inverse_variance(*pooling.log_ratios(*TREATED, *STANDARD)).heterogeneity
    assert found.statistic == pytest.approx(9.698, abs=5e-4)
    assert found.degrees == 8
    assert found.p_value == pytest.approx(0.287, abs=5e-4)


@pytest.mark.parametrize("seed", range(40))
def test_inverse_variance_agrees_with_the_library(seed: int) -> None:
    events1, hours1, events0, hours0 = drawn(seed, 3 + seed)
    tells = events1 + events0 > 0
    estimates, variances = pooling.log_ratios(events1[tells], hours1[tells], events0[tells], hours0[tells])
    found = pooling.inverse_variance(estimates, variances)
    # With a tighter tolerance than its own the library ends at 0: a rounding error below the root is no spread to it.
    theirs = combine_effects(estimates, variances, method_re="iterated", use_t=True, maxiter=500)
    assert math.log(found.common.estimate) == pytest.approx(theirs.mean_effect_fe, rel=1e-9)
    assert found.heterogeneity.statistic == pytest.approx(theirs.q, rel=1e-9)
    assert found.heterogeneity.tau**2 == pytest.approx(max(theirs.tau2, 0), abs=1e-6)
    if theirs.tau2 <= 0:  # the library goes on below nought, where no spread can be
        return
    assert math.log(found.average.estimate) == pytest.approx(theirs.mean_effect_re, abs=1e-6)
    half = stats.t.isf(0.025, len(estimates) - 1) * math.sqrt(theirs.var_hksj_re)
    wald = stats.norm.isf(0.025) * math.sqrt(1 / (1 / (variances + theirs.tau2)).sum())
    ours = math.log(found.average.upper) - math.log(found.average.estimate)
    assert ours == pytest.approx(max(half, wald), abs=1e-5)


@pytest.mark.parametrize("seed", range(20))
def test_the_common_ratio_is_the_binomial_regression_of_the_library(seed: int) -> None:
    events1, hours1, events0, hours0 = drawn(seed, 8, usual=2.0)
    tells = events1 + events0 > 0
    theirs = GLM(
        np.column_stack([events1, events0])[tells],
        np.ones(tells.sum()),
        family=Binomial(),
        offset=np.log(hours1 / hours0)[tells],
    ).fit(tol=1e-13, maxiter=200)
    found = pooling.conditional(events1, hours1, events0, hours0)
    assert math.log(found.common.estimate) == pytest.approx(theirs.params[0], abs=1e-9)


def test_one_facility_has_the_exact_interval_of_a_ratio() -> None:
    found = pooling.conditional([11], [545_345], [19], [420_220])
    alone = ratios.rate_ratio(11, 545_345, 19, 420_220, method="exact")
    for one, other in zip(
        (found.common.estimate, found.common.lower, found.common.upper),
        (alone.estimate, alone.lower, alone.upper),
        strict=True,
    ):
        assert one == pytest.approx(other, rel=1e-8)
    assert found.average == found.common
    assert math.isnan(found.heterogeneity.tau)


def test_the_same_hours_split_everywhere_is_one_large_facility() -> None:
    # Binomial counts with one chance add up: limits are those of the sum.
    found = pooling.conditional([3, 4, 5], [2e5, 4e5, 6e5], [6, 5, 4], [1e5, 2e5, 3e5])
    alone = ratios.rate_ratio(12, 12e5, 15, 6e5, method="exact")
    assert found.common.estimate == pytest.approx(alone.estimate, rel=1e-9)
    assert found.common.lower == pytest.approx(alone.lower, rel=1e-8)
    assert found.common.upper == pytest.approx(alone.upper, rel=1e-8)


@pytest.mark.parametrize(("seed", "k", "usual"), [(1, 5, 200.0), (2, 60, 20.0), (3, 200, 6.0)])
def test_limits_of_very_many_cases_are_those_of_the_exact_sum(
    seed: int, k: int, usual: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same cases by the exact sum of binomial counts, and by the refined normal curve used beyond 3,000."""
    sides = drawn(seed, k, usual=usual)
    assert sides[0].sum() + sides[2].sum() > pooling.MOST_EXACT
    quick = pooling.conditional(*sides).common
    monkeypatch.setattr(pooling, "MOST_EXACT", 10**9)
    exact = pooling.conditional(*sides).common
    assert quick.estimate == exact.estimate
    assert quick.lower == pytest.approx(exact.lower, rel=1e-5)
    assert quick.upper == pytest.approx(exact.upper, rel=1e-5)
    assert quick.lower != exact.lower


@pytest.mark.parametrize("tau", [0.3, 0.6])
def test_three_facilities_keep_what_they_promise_and_say_something(tau: float) -> None:
    """300 systems of three: the average and a further facility are held, and the range is not a hundredfold."""
    draw = np.random.default_rng(3)
    held = foreseen = systems = 0
    widths = []
    for seed in range(300):
        found = pooling.conditional(*drawn(50_000 + seed, 3, usual=5.0, tau=tau))
        if math.isnan(found.heterogeneity.tau):
            continue
        systems += 1
        further = 0.6 * math.exp(tau * draw.standard_normal())
        held += found.average.lower <= 0.6 <= found.average.upper
        foreseen += found.prediction.lower <= further <= found.prediction.upper
        widths.append(found.average.upper / found.average.lower)
    assert systems > 250
    assert held / systems >= 0.94
    assert foreseen / systems >= 0.95
    assert np.median(widths) < 12  # with all spreads alike beforehand it was 63 and 107


@pytest.mark.parametrize("tau", [0.05, 0.35, 1.2, 2.5])
def test_the_likelihood_is_the_integral_it_stands_for(tau: float) -> None:
    # scipy's adaptive quadrature of the same integral, facility by facility.
    events1, hours1 = (np.array(values, dtype=float) for values in TREATED)
    events0, hours0 = (np.array(values, dtype=float) for values in STANDARD)
    offset = np.log(hours1 / hours0)
    whole = 0.0
    for one, none, shift in zip(events1, events0, offset, strict=True):

        def density(z: float, one: float = one, none: float = none, shift: float = shift) -> float:
            chance = 1 / (1 + math.exp(-(-0.4 + shift + tau * z)))
            return float(chance**one * (1 - chance) ** none * stats.norm.pdf(z))

        whole += math.log(integrate.quad(density, -12, 12, epsabs=0, epsrel=1e-11, limit=400)[0])
    assert pooling._log_likelihood(events1, events0, offset, -0.4, tau) == pytest.approx(whole, abs=1e-7)


def test_a_zero_on_one_side_counts_and_none_on_both_does_not() -> None:
    found = pooling.conditional([0, 4, 0, 6], [3e5, 4e5, 1e5, 5e5], [5, 7, 0, 9], [2e5, 4e5, 1e5, 5e5])
    assert found.facilities == 3
    assert 0 < found.average.estimate < 1


def test_no_case_anywhere_leaves_everything_open() -> None:
    found = pooling.conditional([0, 0], [3e5, 4e5], [0, 0], [2e5, 4e5])
    assert found.facilities == 0
    assert math.isnan(found.common.estimate)
    assert (found.common.lower, found.common.upper) == (0, math.inf)


def test_no_case_on_one_side_gives_a_limit_and_no_spread() -> None:
    found = pooling.conditional([0, 0, 0], [3e5, 4e5, 2e5], [5, 2, 3], [2e5, 4e5, 2e5])
    assert found.common.estimate == 0
    assert found.common.lower == 0
    assert 0 < found.common.upper < 1
    assert math.isnan(found.heterogeneity.tau)


@pytest.mark.parametrize(
    ("changed", "match"),
    [
        ({"events1": [1.5, 2, 3]}, "whole numbers"),
        ({"hours1": [0, 2e5, 3e5]}, "hours must be above 0"),
        ({"hours0": [1e5, 2e5]}, "same length"),
        ({"confidence": 95}, "between 0 and 1"),
    ],
)
def test_bad_counts_and_hours_are_refused(changed: dict[str, object], match: str) -> None:
    asked: dict[str, object] = {
        "events1": [1, 2, 3], "hours1": [1e5, 2e5, 3e5], "events0": [1, 2, 3], "hours0": [1e5, 2e5, 3e5],
    }  # fmt: skip
    with pytest.raises(ValueError, match=match):
        pooling.conditional(**{**asked, **changed})  # type: ignore[arg-type]


def test_simulated_systems_with_known_truth() -> None:
    """300 systems of 15 facilities, ratio 0.6 in the middle, spread 0.3, about 4 cases a side.

    The interval of the average holds the truth at least as often as it says, the prediction interval the true ratio
    of a new facility, and the classical way is drawn towards 1 by its correction of zero counts.
    """
    draw = np.random.default_rng(2026)
    held = foreseen = 0
    bias: list[tuple[float, float]] = []
    for seed in range(300):
        sides = drawn(10_000 + seed, 15, usual=1.6)
        found = pooling.conditional(*sides)
        held += found.average.lower <= 0.6 <= found.average.upper
        further = 0.6 * math.exp(0.3 * draw.standard_normal())
        foreseen += found.prediction.lower <= further <= found.prediction.upper
        tells = sides[0] + sides[2] > 0
        classical = pooling.inverse_variance(*pooling.log_ratios(*(side[tells] for side in sides)))
        bias.append((math.log(found.average.estimate / 0.6), math.log(classical.average.estimate / 0.6)))
    ours, theirs = np.mean(bias, axis=0)
    assert held / 300 >= 0.93  # too wide rather than too narrow: the spread is hardly known
    assert foreseen / 300 >= 0.92
    assert abs(ours) < 0.06
    assert theirs > ours
