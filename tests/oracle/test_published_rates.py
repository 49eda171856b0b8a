"""Worked examples that others have printed, each with where it was printed."""

from __future__ import annotations

import math

import pytest

from handling_review.stats import rates, ratios


class TestBreastCancerAfterFluoroscopy:
    """41 cases in 28,010 person-years against 15 in 19,017: Boice & Monson 1977, as printed in Rothman &
    Greenland, Modern Epidemiology, and on the Stata page "Incidence-rate ratio calculator" (ratio 1.855759,
    exact interval 1.005684-3.6093, difference 0.000675 (0.0000749-0.0012751), two-sided mid-P 0.0355)."""

    FOUR = (41, 28_010, 15, 19_017)

    def test_ratio(self) -> None:
        assert round(ratios.rate_ratio(*self.FOUR).estimate, 6) == 1.855759

    def test_exact_interval(self) -> None:
        found = ratios.rate_ratio(*self.FOUR, method="exact")
        assert round(found.lower, 6) == 1.005684
        assert round(found.upper, 4) == 3.6093

    def test_two_sided_mid_p_value(self) -> None:
        assert round(ratios.rate_ratio(*self.FOUR).p_value, 4) == 0.0355

    def test_difference(self) -> None:
        """Only the estimate: the printed limits are the large-sample ones, ours are not."""
        per_person_year = ratios.rate_difference(*self.FOUR).estimate / 200_000
        assert round(per_person_year, 6) == 0.000675


class TestTwoAgainstNine:
    """2 in 17,877 against 9 in 16,660: vignette of the R package rateratio.test (Fay 2022), printed ratio
    0.2070941557, interval 0.02177406-1.00054910, p 0.05011."""

    FOUND = ratios.rate_ratio(2, 17_877, 9, 16_660, method="exact")

    def test_ratio_and_interval(self) -> None:
        assert round(self.FOUND.estimate, 10) == 0.2070941557
        assert round(self.FOUND.lower, 8) == 0.02177406
        assert round(self.FOUND.upper, 8) == 1.00054910

    def test_p_value_agrees_with_the_interval(self) -> None:
        """R's poisson.test prints 0.03309 beside an interval that holds 1; one method gives 0.05011."""
        assert round(self.FOUND.p_value, 5) == 0.05011


def test_interval_of_the_second_example_on_the_help_page_of_poisson_test() -> None:
    """11 in 800 against 21 in 3,011: inputs printed there, limits from R 4.2 poisson.test."""
    found = ratios.rate_ratio(11, 800, 21, 3_011, method="exact")
    assert round(found.estimate, 6) == 1.971488
    assert round(found.lower, 7) == 0.8584264
    assert round(found.upper, 7) == 4.2772659


def test_dart_rate_of_the_targeting_directive() -> None:
    """22 cases, 645,089 h, printed 6.8: OSHA site-specific targeting, how DART rates are calculated."""
    assert round(rates.rate(22, 645_089), 1) == 6.8


def test_thirty_full_time_staff_over_three_years() -> None:
    """62,400 h a year; 1, 0 and 4 cases: last year 12.82, three years together 5.34 (rates printed on a
    public-sector guidance page; exact limits from R poisson.test)."""
    assert round(rates.rate(4, 62_400), 2) == 12.82
    assert round(rates.rate(1 + 0 + 4, 3 * 62_400), 2) == 5.34
    last, together = rates.rate_interval(4, 62_400), rates.rate_interval(5, 187_200)
    assert (round(last.lower, 2), round(last.upper, 2)) == (3.49, 32.83)
    assert (round(together.lower, 2), round(together.upper, 2)) == (1.73, 12.47)


@pytest.mark.parametrize(
    ("after", "before", "ratio", "lower", "upper", "p_value"),
    [(2, 11, 0.18, 0.02, 0.83, 0.022), (1, 16, 0.0625, 0.0015, 0.40, 0.0003)],
)
def test_counts_on_equal_hours(
    after: int, before: int, ratio: float, lower: float, upper: float, p_value: float
) -> None:
    """11 -> 2 lost-time injuries of a 200-bed hospital and 16 -> 1 of a lift team were printed without
    hours; limits and doubled p are the binomial ones at a share of one half (R binom.test)."""
    found = ratios.rate_ratio(after, 1.0, before, 1.0, method="exact")
    assert found.estimate == pytest.approx(ratio, abs=0.005)
    assert found.lower == pytest.approx(lower, abs=0.005)
    assert found.upper == pytest.approx(upper, abs=0.005)
    assert found.p_value == pytest.approx(p_value, abs=0.0005)
    tail = sum(math.comb(after + before, k) for k in range(after + 1)) / 2 ** (after + before)
    assert found.p_value == pytest.approx(2 * tail, rel=1e-12)


GARWOOD = {  # Garwood 1936, Biometrika 28:437-442, 95 %; three decimals as in printed tables of the limits
    0: (0, 3.689),
    1: (0.025, 5.572),
    2: (0.242, 7.225),
    3: (0.619, 8.767),
    4: (1.090, 10.242),
    5: (1.623, 11.668),
    6: (2.202, 13.059),
    8: (3.454, 15.763),
    10: (4.795, 18.390),
    12: (6.201, 20.962),
    15: (8.395, 24.740),
    16: (9.145, 25.983),
    20: (12.217, 30.888),
    25: (16.179, 36.905),
    30: (20.241, 42.827),
    50: (37.111, 65.919),
    100: (81.364, 121.627),
}


@pytest.mark.parametrize(("events", "limits"), GARWOOD.items())
def test_garwood_limits(events: int, limits: tuple[float, float]) -> None:
    found = rates.count_interval(events)
    assert (round(found.lower, 3), round(found.upper, 3)) == limits


@pytest.mark.parametrize(("hours", "upper"), [(20_000, 36.9), (50_000, 14.8), (100_000, 7.4), (200_000, 3.7)])
def test_no_cases_say_little_about_few_hours(hours: float, upper: float) -> None:
    """3.689 (Garwood at 0 cases) x 200,000 / hours, one decimal."""
    assert round(rates.rate_interval(0, hours).upper, 1) == upper


@pytest.mark.parametrize(("hours", "points"), [(20_000, 10), (50_000, 4), (100_000, 2), (200_000, 1)])
def test_one_case_moves_the_rate_by(hours: float, points: float) -> None:
    """200,000 / hours: arithmetic of 29 CFR 1904."""
    assert rates.rate(8, hours) - rates.rate(7, hours) == pytest.approx(points, rel=1e-12)
