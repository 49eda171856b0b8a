"""Six incidents, eight hour rows, three completions: every rate, ratio and interval of the review worked by hand.

Cases and hours below are written as the sums they are. Rates follow 29 CFR 1904 / BLS: cases x 200,000 / hours.
Intervals are computed here another way than in the package: Garwood limits from chi-squared quantiles, the ratio's
mid-P limits by bisection on scipy.stats' binomial distribution, the difference by MOVER (Donner and Zou 2012).
"""

from __future__ import annotations

import math
from pathlib import Path

import pandas as pd
import pytest
from scipy import optimize, stats

from handling_review.cli import main
from whole import facility

# Person 007: 450 h over 90 days = 5 h a day, then 455 h over 91 days = 5 h a day; trained on 1 March.
# Person 008: 360 h over 90 days = 4 h a day, then 364 h over 91 days = 4 h a day; trained on 10 April (again later).
# Person 009: 90 h, then 91 h: 1 h a day; never trained. Without id: 180 h, then 182 h.
# Washout: 30 days from the completion day on: 007 from 1 to 30 March, 008 from 10 April to 9 May.
HOURS = {
    "before": 5 * (31 + 28) + 4 * 90 + 4 * 9,
    "washout": 5 * 30 + 4 * 30,
    "after": 5 * (1 + 91) + 4 * (91 - 9 - 30),
    "never": 90 + 91,
    "unknown": 180 + 182,
}
# case 001: 007 in January (before), 002: 007 on 20 March (washout), 003: 008 in February (before),
# 004: no id, not handling (unknown), 005: 008 on 20 May (after), 006: first aid
CASES = {
    "handling": {"before": 1 + 1, "washout": 1, "after": 1, "never": 0, "unknown": 0},
    "recordable": {"before": 1 + 1, "washout": 1, "after": 1, "never": 0, "unknown": 1},
    "dart": {"before": 1 + 1, "washout": 0, "after": 1, "never": 0, "unknown": 0},
    "days_away": {"before": 1, "washout": 0, "after": 1, "never": 0, "unknown": 0},
    "non_handling": {"before": 0, "washout": 0, "after": 0, "never": 0, "unknown": 1},
}
QUARTER_HOURS = {
    ("facility", "2025-Q1"): 450 + 360 + 90 + 180,
    ("facility", "2025-Q2"): 455 + 364 + 91 + 182,
    ("unit:North", "2025-Q1"): 450 + 90,
    ("unit:North", "2025-Q2"): 455 + 91,
    ("unit:South", "2025-Q1"): 360 + 180,
    ("unit:South", "2025-Q2"): 364 + 182,
}
QUARTER_CASES = {
    ("facility", "2025-Q1"): {
        "handling": 3,
        "recordable": 3,
        "dart": 2,
        "days_away": 1,
        "first_aid": 0,
        "non_handling": 0,
    },
    ("facility", "2025-Q2"): {
        "handling": 1,
        "recordable": 2,
        "dart": 1,
        "days_away": 1,
        "first_aid": 1,
        "non_handling": 1,
    },
    ("unit:North", "2025-Q1"): {"handling": 2, "recordable": 2, "dart": 1, "days_away": 1},
    ("unit:North", "2025-Q2"): {"handling": 1, "recordable": 1, "dart": 1, "days_away": 1},
    ("unit:South", "2025-Q1"): {"handling": 1, "recordable": 1, "dart": 1, "days_away": 0},
    ("unit:South", "2025-Q2"): {"handling": 0, "recordable": 1, "dart": 0, "days_away": 0},
}


def garwood(cases: int, hours: float) -> tuple[float, float]:
    """Exact limits of a rate per 200,000 h from chi-squared quantiles (Garwood 1936)."""
    lower = stats.chi2.ppf(0.025, 2 * cases) / 2 if cases else 0.0
    return lower * 200000 / hours, stats.chi2.ppf(0.975, 2 * cases + 2) / 2 * 200000 / hours


def mid_p_count(cases: int) -> tuple[float, float]:
    """Mid-P limits of an expected count by bisection on scipy.stats' Poisson distribution."""

    def below(mean: float) -> float:
        return float(stats.poisson.cdf(cases, mean) - 0.5 * stats.poisson.pmf(cases, mean))

    upper = optimize.brentq(lambda m: below(m) - 0.025, 1e-9, 60)
    lower = optimize.brentq(lambda m: below(m) - 0.975, 1e-9, 60) if cases else 0.0
    return float(lower), float(upper)


def mid_p_ratio(after: int, before: int, hours_after: float, hours_before: float) -> tuple[float, float]:
    """Mid-P limits of a rate ratio: the share of cases after, given all cases, is binomial."""
    n = after + before

    def below(share: float) -> float:
        return float(stats.binom.cdf(after, n, share) - 0.5 * stats.binom.pmf(after, n, share))

    def as_ratio(share: float) -> float:
        return share / (1 - share) * hours_before / hours_after

    lower = 0.0 if after == 0 else as_ratio(float(optimize.brentq(lambda s: below(s) - 0.975, 1e-12, 1 - 1e-12)))
    upper = math.inf if before == 0 else as_ratio(float(optimize.brentq(lambda s: below(s) - 0.025, 1e-12, 1 - 1e-12)))
    return lower, upper


@pytest.fixture(scope="module")
def numbers(hand_review: tuple[Path, Path]) -> dict[str, float]:
    frame = pd.read_csv(hand_review[1] / "tables" / "numbers.csv")
    return dict(zip(frame["key"], pd.to_numeric(frame["value"], errors="coerce"), strict=True))


def test_the_day_counts_add_up() -> None:
    assert sum(HOURS.values()) == 450 + 455 + 360 + 364 + 90 + 91 + 180 + 182


def test_hours_and_cases_of_each_phase(numbers: dict[str, float]) -> None:
    for phase, hours in HOURS.items():
        assert numbers[f"hours/facility/{phase}"] == pytest.approx(hours, abs=1e-6)
        assert numbers[f"hours_share/facility/{phase}"] == pytest.approx(hours / 2172, abs=1e-9)
        for series, cases in CASES.items():
            assert numbers[f"cases/facility/{phase}/{series}"] == cases[phase]


def test_hours_and_cases_of_each_quarter_and_unit(numbers: dict[str, float]) -> None:
    for (place, quarter), hours in QUARTER_HOURS.items():
        for series, cases in QUARTER_CASES[place, quarter].items():
            assert numbers[f"hours/{place}/{quarter}/{series}"] == pytest.approx(hours, abs=1e-6)
            assert numbers[f"cases/{place}/{quarter}/{series}"] == cases


def test_every_rate_and_its_interval(numbers: dict[str, float]) -> None:
    rates = [key.removeprefix("rate/") for key in numbers if key.startswith("rate/")]
    for place in rates:
        cases, hours = numbers[f"cases/{place}"], numbers[f"hours/{place}"]
        lower, upper = garwood(int(cases), hours)
        assert numbers[f"rate/{place}"] == pytest.approx(cases * 200000 / hours, rel=1e-9)
        if cases:
            assert numbers[f"rate_lower/{place}"] == pytest.approx(lower, rel=1e-8)
            assert numbers[f"rate_upper/{place}"] == pytest.approx(upper, rel=1e-8)
    assert len(rates) >= 40


def test_every_one_sided_limit(numbers: dict[str, float]) -> None:
    """Where no rate is printed (no case, or too few in a unit) the page says how high it could be at most."""
    limits = [key.removeprefix("rate_limit/") for key in numbers if key.startswith("rate_limit/")]
    for place in limits:
        cases, hours = numbers[f"cases/{place}"], numbers[f"hours/{place}"]
        expected = stats.chi2.ppf(0.95, 2 * cases + 2) / 2 * 200000 / hours
        assert numbers[f"rate_limit/{place}"] == pytest.approx(expected, rel=1e-8)
    assert len(limits) >= 30


@pytest.mark.parametrize("series", ["handling", "recordable", "dart", "days_away"])
def test_ratio_difference_and_cases_avoided(numbers: dict[str, float], series: str) -> None:
    y0, y1, t0, t1 = CASES[series]["before"], CASES[series]["after"], HOURS["before"], HOURS["after"]
    lower, upper = mid_p_ratio(y1, y0, t1, t0)
    key = f"facility/before_after/{series}"
    assert numbers[f"ratio/{key}"] == pytest.approx((y1 / t1) / (y0 / t0), rel=1e-9)
    assert numbers[f"ratio_lower/{key}"] == pytest.approx(lower, rel=1e-6)
    assert numbers[f"ratio_upper/{key}"] == pytest.approx(upper, rel=1e-6)
    unit1, unit0 = t1 / 200000, t0 / 200000
    rate1, rate0 = y1 / unit1, y0 / unit0
    low1, high1 = (limit / unit1 for limit in mid_p_count(y1))
    low0, high0 = (limit / unit0 for limit in mid_p_count(y0))
    difference = rate1 - rate0
    down = difference - math.hypot(rate1 - low1, high0 - rate0)
    up = difference + math.hypot(high1 - rate1, rate0 - low0)
    assert numbers[f"difference/{key}"] == pytest.approx(difference, rel=1e-9)
    assert numbers[f"difference_lower/{key}"] == pytest.approx(down, rel=1e-6)
    assert numbers[f"difference_upper/{key}"] == pytest.approx(up, rel=1e-6)
    assert numbers[f"cases_avoided/{key}"] == pytest.approx(-difference * unit1, rel=1e-9)
    assert numbers[f"cases_avoided_lower/{key}"] == pytest.approx(-up * unit1, rel=1e-6)
    assert numbers[f"cases_avoided_upper/{key}"] == pytest.approx(-down * unit1, rel=1e-6)


def test_row_accounting_of_the_three_files(numbers: dict[str, float]) -> None:
    assert [numbers[f"rows/in/{name}"] for name in ("incidents", "hours", "training")] == [6, 8, 3]
    assert [numbers[f"rows/set_aside/{name}"] for name in ("incidents", "hours", "training")] == [0, 0, 0]


def test_two_builds_are_the_same_to_the_byte(hand_review: tuple[Path, Path], tmp_path: Path) -> None:
    one, two = hand_review[1], tmp_path / "two"
    assert main(["build", str(facility.write(tmp_path / "p")), "--out", str(two)]) == 0
    names, also = (sorted(p.relative_to(out) for p in out.rglob("*") if p.is_file()) for out in (one, two))
    assert names == also
    assert {str(n) for n in names} >= {"program-review.html", "findings.csv", "review.duckdb", "manifest.json"}
    for name in names:
        assert (one / name).read_bytes() == (two / name).read_bytes(), name
