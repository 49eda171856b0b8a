"""What is still needed, against exact power by enumeration, the beta and the normal distribution, and the calendar."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from handling_review.evidence import before_after, power_left
from handling_review.evidence.ladder import rung
from handling_review.evidence.panel import STAGGERED, Designed
from handling_review.evidence.power_left import PowerLeft
from spec import made_up_tables as made_up

QUARTERS = ("2024-Q1", "2024-Q2")
LEAD = Designed(STAGGERED, 0.6, 0.4, 0.9, 0.01, 20, 5e5, 60, 4e5, expected_error=0.3)
GONE = Designed(STAGGERED, reason="none")


def left(
    cases0: int = 60,
    hours0: int = 400_000,
    hours1: int = 100_000,
    pace: float = 50_000.0,
    *,
    cases1: int = 5,
    quarters: tuple[str, ...] = QUARTERS,
    lead: Designed = LEAD,
    target: float = 0.5,
) -> PowerLeft:
    settings = made_up.program(target_reduction=target)
    found = made_up.drawn(
        f"quarter unit phase handling hours\n2024-Q1 A before {cases0} {hours0}\n2024-Q2 A after "
        f"{cases1 if hours1 else 0} {hours1}\n2024-Q2 A never 0 1000"
    )
    change = before_after.gather(found, QUARTERS, settings)
    item = rung("facility/staggered", "handling", lead, math.nan, settings)
    return power_left.gather(item, change.primary, pace, quarters, settings)


def exact_power(expected0: float, hours_ratio: float, ratio: float) -> float:
    """Chance that a central two-sided mid-P test at 5 % rejects, added up over every pair of counts."""
    mean1, share = expected0 * ratio * hours_ratio, hours_ratio / (1 + hours_ratio)
    one = np.arange(int(stats.poisson.isf(1e-10, mean1)) + 1)[:, None]
    zero = np.arange(int(stats.poisson.isf(1e-10, expected0)) + 1)[None, :]
    n = one + zero
    point = 0.5 * stats.binom.pmf(one, n, share)
    tail = np.minimum(stats.binom.cdf(one, n, share) - point, stats.binom.sf(one, n, share) + point)
    weight = stats.poisson.pmf(one, mean1) * stats.poisson.pmf(zero, expected0)
    return float(weight[2 * tail <= 0.05].sum())


@pytest.mark.parametrize(("target", "wanted"), [(0.5, 46), (0.3, 147), (0.2, 353)])
def test_cases_before_that_equal_hours_want(target: float, wanted: int) -> None:
    """Equal hours, 80 % power, a fall by 50, 30 or 20 %; the count is rounded up to a whole case."""
    found = left(target=target).cases_before_wanted.value
    assert found is not None
    assert found - 1 <= wanted <= found
    assert exact_power(found, 1.0, 1 - target) >= 0.8 > exact_power(found - 2, 1.0, 1 - target)


@pytest.mark.parametrize(("cases0", "hours0", "hours1"), [(60, 400_000, 100_000), (90, 700_000, 150_000)])
def test_hours_still_needed_bring_the_power_to_four_fifths(cases0: int, hours0: int, hours1: int) -> None:
    found = left(cases0, hours0, hours1)
    assert found.hours_still_needed is not None
    assert found.hours_still_needed.value
    assert found.cases_expected is not None
    more = found.hours_still_needed.value
    # Exact power rises in small saw teeth, so a little is left on either side.
    assert exact_power(cases0, (hours1 + more * 1.02) / hours0, 0.5) >= 0.8
    assert exact_power(cases0, (hours1 + more * 0.8) / hours0, 0.5) < 0.8
    assert found.cases_expected.value == round(more * 0.5 * cases0 / hours0)
    assert found.quarters_still_needed is not None
    assert found.quarters_still_needed.value == math.ceil(more / 50_000)


@pytest.mark.parametrize(
    ("latest", "steps"),
    [
        ("2024-Q2", {1: "2024-Q3", 2: "2024-Q4", 3: "2025-Q1", 6: "2025-Q4", 7: "2026-Q1"}),
        ("FY2026-Q4", {1: "FY2027-Q1", 2: "FY2027-Q2", 3: "FY2027-Q3", 6: "FY2028-Q2", 7: "FY2028-Q3"}),
    ],
)
def test_the_quarter_is_counted_on_from_the_latest(latest: str, steps: dict[int, str]) -> None:
    more = left().hours_still_needed
    assert more is not None
    assert more.value
    for count, label in steps.items():
        found = left(pace=more.value / (count - 0.5), quarters=("2024-Q1", latest))
        assert found.quarters_still_needed is not None
        assert found.quarters_still_needed.value == count
        assert found.detectable_in == label


def test_hours_that_are_there_are_there_whatever_the_pace() -> None:
    for pace in (50_000.0, 0.0):
        found = left(hours1=500_000, pace=pace)
        assert found.detectable_in == "now"
        assert found.hours_still_needed is not None
        assert found.hours_still_needed.value == 0
        assert found.quarters_still_needed is not None
        assert found.quarters_still_needed.value == 0


def test_without_a_pace_the_hours_are_known_and_the_quarter_is_not() -> None:
    found, paced = left(pace=0.0), left()
    assert found.hours_still_needed == paced.hours_still_needed
    assert found.hours_still_needed is not None
    assert found.quarters_still_needed is None
    assert found.detectable_in == ""


@pytest.mark.parametrize("cases0", [0, 3])
def test_too_few_cases_before_are_never_made_up_for(cases0: int) -> None:
    found = left(cases0)
    assert (found.hours_still_needed, found.quarters_still_needed, found.detectable_in) == (None, None, "")
    assert exact_power(max(cases0, 0.01), 1000.0, 0.5) < 0.8


def test_a_quarter_more_than_twenty_years_off_is_not_named() -> None:
    found = left(pace=500.0)
    assert found.quarters_still_needed is not None
    assert (found.quarters_still_needed.value or 0) > power_left.FARTHEST_QUARTERS
    assert found.detectable_in == ""


@pytest.mark.parametrize(("cases1", "hours1", "cases0", "hours0"), [(5, 100_000, 60, 400_000), (0, 90_000, 4, 70_000)])
@pytest.mark.parametrize("target", [0.5, 0.2])
def test_chance_that_the_target_is_met_is_a_beta_tail(
    cases1: int, hours1: int, cases0: int, hours0: int, target: float
) -> None:
    """Jeffreys priors make both rates gamma; rate1 h / (rate1 h + rate0 h) is then beta(y1 + 1/2, y0 + 1/2)."""
    found = left(cases0, hours0, hours1, cases1=cases1, target=target).chance_target_met
    assert found is not None
    odds = (1 - target) * hours1 / hours0
    assert found.value == pytest.approx(stats.beta.cdf(odds / (1 + odds), cases1 + 0.5, cases0 + 0.5), abs=1e-9)


def test_no_hours_after_leave_no_chance_to_speak_of() -> None:
    assert left(hours1=0).chance_target_met is None


def test_chance_from_the_leading_design_is_normal_on_the_log_scale() -> None:
    found = left().chance_target_met_lead
    assert found is not None
    error = math.log(0.9 / 0.4) / (2 * 1.959963985)
    assert found.value == pytest.approx(stats.norm.cdf(math.log(0.5), math.log(0.6), error), abs=1e-9)
    assert left(lead=GONE).chance_target_met_lead is None
    none = Designed(STAGGERED, 0.0, 0.0, 0.9, 0.01, 0, 5e5, 60, 4e5, expected_error=0.3)
    assert left(lead=none).chance_target_met_lead is None, "no case after has no log ratio"


def test_smallest_fall_of_the_leading_design() -> None:
    found = left().smallest_fall
    assert found is not None
    # A log ratio of (1.96 + 0.84) errors is found four times in five.
    assert math.log1p(-(found.value or 0)) == pytest.approx(-(1.959963985 + 0.841621234) * 0.3, abs=1e-6)
    assert left(lead=GONE).smallest_fall is None
