"""Shapes, refusals and zero cells of rates, ratios and proportions."""

from __future__ import annotations

import math
import subprocess
import sys
from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from handling_review.stats import proportions, rates, ratios


def test_rate_adds_first_and_divides_last() -> None:
    assert rates.rate(2 + 0 + 5, 41_250 + 8_300 + 152_400.5) == 7 * 200_000 / 201_950.5


def test_lists_keep_their_order_and_single_numbers_stay_floats() -> None:
    assert rates.rate([1, 0, 4], [62_400, 62_400, 62_400]).tolist() == [
        200_000 / 62_400,
        0,
        800_000 / 62_400,
    ]
    assert type(rates.rate(3, 1000)) is float
    assert type(rates.rate_interval(3, 1000).lower) is float
    assert type(rates.upper_limit(np.int64(0), 1000)) is float
    assert rates.upper_limit([0, 1], [1e5, 1e5]).shape == (2,)
    assert rates.count_interval([3]).lower.shape == (1,)


def test_one_number_of_hours_serves_a_whole_list_of_counts() -> None:
    assert rates.rate(np.array([1, 2]), np.array(100_000)).tolist() == [2, 4]


def test_no_case_keeps_the_two_sided_interval_and_offers_a_one_sided_limit() -> None:
    assert rates.rate_interval(0, 200_000).lower == 0
    assert rates.rate_interval(0, 200_000).upper == pytest.approx(-math.log(0.025), rel=1e-12)
    assert rates.upper_limit(0, 200_000) == pytest.approx(-math.log(0.05), rel=1e-12)
    assert rates.count_interval(0, method="mid_p").upper == pytest.approx(-math.log(0.05), rel=1e-12)


@pytest.mark.parametrize("method", ["exact", "mid_p"])
def test_no_case_after_gives_a_ratio_of_0_with_a_finite_upper_limit(method: str) -> None:
    found = ratios.rate_ratio(0, 1e5, 7, 1e5, method=method)
    assert (found.estimate, found.lower) == (0, 0)
    tail = 0.025 if method == "exact" else 0.05
    share = 1 - tail ** (1 / 7)  # (1 - share) ** 7 = tail, or its half for mid-P
    assert found.upper == pytest.approx(share / (1 - share), rel=1e-12)


@pytest.mark.parametrize("method", ["exact", "mid_p"])
def test_no_case_before_gives_an_undefined_ratio_with_a_lower_limit(method: str) -> None:
    found = ratios.rate_ratio(6, 1e5, 0, 1e5, method=method)
    assert (found.estimate, found.upper) == (math.inf, math.inf)
    tail = 0.025 if method == "exact" else 0.05
    share = tail ** (1 / 6)
    assert found.lower == pytest.approx(share / (1 - share), rel=1e-12)


@pytest.mark.parametrize("method", ["exact", "mid_p"])
def test_no_case_at_all_tells_nothing(method: str) -> None:
    found = ratios.rate_ratio(0, 1e5, 0, 2e5, method=method)
    assert math.isnan(found.estimate)
    assert (found.lower, found.upper, found.p_value, found.method) == (0, math.inf, 1, method)


def test_cases_avoided_is_the_expected_number_minus_the_seen_one() -> None:
    """12 cases in 400,000 h before; 200,000 h after would have had 6, had 5: one avoided."""
    found = ratios.cases_avoided(5, 200_000, 12, 400_000)
    assert found.estimate == 12 * 200_000 / 400_000 - 5 == 1
    assert found.lower < 0 < found.upper


def test_more_cases_than_expected_are_a_negative_number_avoided() -> None:
    assert ratios.cases_avoided(9, 200_000, 12, 400_000).estimate == -3


def test_extreme_counts_and_hours_stay_finite() -> None:
    for y1, t1, y0, t0 in [(10**6, 1e10, 10**6, 1e-3), (10**6, 1e-3, 1, 1e10), (1, 1e10, 1, 1e-3)]:
        for method in ratios.METHODS:
            found = ratios.rate_ratio(y1, t1, y0, t0, method=method)
            assert 0 < found.lower < found.estimate < found.upper < math.inf
            gap = ratios.rate_difference(y1, t1, y0, t0, method=method)
            assert all(math.isfinite(value) for value in (gap.estimate, gap.lower, gap.upper))


@pytest.mark.parametrize("bad", [-1, 2.5, math.nan, math.inf, "three", None, 1e13])
def test_impossible_counts_are_refused(bad: object) -> None:
    for call in (
        lambda: rates.rate(bad, 1e5),
        lambda: rates.count_interval(bad),
        lambda: rates.upper_limit(bad, 1e5),
        lambda: ratios.rate_ratio(bad, 1e5, 3, 1e5),
        lambda: ratios.rate_difference(3, 1e5, bad, 1e5),
        lambda: ratios.cases_avoided(bad, 1e5, 3, 1e5),
        lambda: proportions.wilson(bad, 10),
    ):
        with pytest.raises(ValueError, match="must"):
            call()


@pytest.mark.parametrize("bad", [0, -5.0, math.nan, math.inf, "many"])
def test_impossible_hours_are_refused(bad: object) -> None:
    for call in (
        lambda: rates.rate(3, bad),
        lambda: rates.rate_interval(3, bad),
        lambda: ratios.rate_ratio(3, bad, 4, 1e5),
        lambda: ratios.rate_difference(3, 1e5, 4, bad),
        lambda: ratios.cases_avoided(3, 1e5, 4, bad),
    ):
        with pytest.raises(ValueError, match="hours"):
            call()


@pytest.mark.parametrize("bad", [0, 1, 95, -0.5, math.nan])
def test_confidence_is_a_share(bad: float) -> None:
    for call in (
        lambda: rates.count_interval(3, bad),
        lambda: rates.upper_limit(3, 1e5, bad),
        lambda: ratios.rate_ratio(3, 1e5, 4, 1e5, bad),
        lambda: proportions.wilson(3, 4, bad),
        lambda: proportions.newcombe(3, 4, 1, 4, bad),
    ):
        with pytest.raises(ValueError, match="confidence must"):
            call()


def test_unknown_methods_are_refused_with_the_known_ones_named() -> None:
    with pytest.raises(ValueError, match="exact, mid_p; got 'wald'"):
        rates.count_interval(3, method="wald")
    with pytest.raises(ValueError, match="mid_p, exact; got 'score'"):
        ratios.rate_ratio(3, 1e5, 4, 1e5, method="score")


@pytest.mark.parametrize("bad", [0, -1, math.inf, math.nan])
def test_a_null_ratio_is_above_0(bad: float) -> None:
    with pytest.raises(ValueError, match="null must"):
        ratios.rate_ratio(3, 1e5, 4, 1e5, null=bad)


def test_lists_of_unequal_length_or_two_dimensions_are_refused() -> None:
    with pytest.raises(ValueError, match="same length, got events 2, hours 3"):
        rates.rate([1, 2], [1e5, 1e5, 1e5])
    with pytest.raises(ValueError, match="2 dimensions"):
        rates.rate(np.ones((2, 2)), np.ones((2, 2)))


@pytest.mark.parametrize(("successes", "n"), [(1, 0), (0, 0), (5, 4)])
def test_a_proportion_needs_a_whole_to_be_a_part_of(successes: int, n: int) -> None:
    with pytest.raises(ValueError, match="successes must be 0 to n"):
        proportions.wilson(successes, n)


def test_nobody_and_everybody_end_at_0_and_1() -> None:
    assert proportions.wilson(0, 20).lower == 0
    assert proportions.wilson(20, 20).upper == 1
    assert proportions.newcombe(10, 10, 0, 10).upper == 1


def test_results_cannot_be_changed() -> None:
    with pytest.raises(FrozenInstanceError):
        rates.count_interval(3).lower = 0  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError):
        ratios.rate_ratio(3, 1e5, 4, 1e5).estimate = 1  # type: ignore[misc]


def test_importing_rates_ratios_and_proportions_stays_light() -> None:
    """scipy.stats and statsmodels take a second to import and are not needed for exact intervals."""
    code = (
        "import sys; from handling_review.stats import rates, ratios, proportions;"
        "print([m for m in ('scipy.stats', 'scipy.optimize', 'statsmodels', 'pandas') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
