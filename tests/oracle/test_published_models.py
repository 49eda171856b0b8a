"""Worked examples that others have printed, for comparisons with a control and for planning."""

from __future__ import annotations

import math

import pytest

from handling_review.stats import casemix, groups, power


def test_a_fall_that_the_comparison_group_shows_as_well_is_no_effect() -> None:
    """Jesdale 2018, J Nurs Home Res 4:36: mean DART 7.53 -> 5.76 in homes of states with a law, 8.54 -> 6.46
    elsewhere. Ratio of ratios (5.76 / 7.53) / (6.46 / 8.54) = 1.011, though the fall alone is 23.5 %."""
    found = groups.difference_in_differences(576, 100, 753, 100, 646, 100, 854, 100)
    assert round(576 / 753 - 1, 3) == -0.235
    assert round(found.estimate, 3) == 1.011
    assert found.lower < 1 < found.upper


def test_three_hospitals_with_and_three_without_a_program() -> None:
    """Black 2011, J Occup Environ Hyg 8:226: injuries per 100 full-time staff 14.68 -> 8.1 and 9.29 -> 8.4,
    766 cases in all. Counts of about 265 -> 146 and 186 -> 169 follow if staffing did not change (an
    assumption); ratio of ratios 0.610, interval by the log method then 0.46-0.82."""
    staff, control_staff = 265 / 0.1468, 186 / 0.0929
    found = groups.difference_in_differences(146, staff, 265, staff, 169, control_staff, 186, control_staff)
    printed = (8.1 / 14.68) / (8.4 / 9.29)
    assert round(printed, 3) == 0.610
    assert found.estimate == pytest.approx(0.610, abs=0.006)
    assert found.lower == pytest.approx(0.46, abs=0.01)
    assert found.upper == pytest.approx(0.82, abs=0.01)


def test_non_user_units_as_comparison() -> None:
    """Evanoff 2003 as tabulated later: units that used lifts 6.3 -> 5.5, that did not 6.3 -> 6.7 per 100:
    (5.5 / 6.3) / (6.7 / 6.3) = 0.821."""
    found = groups.difference_in_differences(55, 1, 63, 1, 67, 1, 63, 1)
    assert round(found.estimate, 3) == 0.821


def test_exact_odds_ratio_of_the_tea_tasting() -> None:
    """Fisher 1935: 3, 1, 1, 3. One-sided probability 17 / 70, so that the exact p-value is 34 / 70."""
    found = casemix.ratio_of_ratios(3, 1, 1, 3, method="exact")
    assert found.estimate == 9
    assert found.p_value == pytest.approx(34 / 70, rel=1e-12)
    mid_p = casemix.ratio_of_ratios(3, 1, 1, 3)
    assert mid_p.p_value == pytest.approx(2 * (17 - 16 / 2) / 70, rel=1e-12)


@pytest.mark.parametrize(("ratio", "before"), [(0.5, 49), (0.6, 80), (0.7, 150), (0.8, 355), (0.9, 1_493)])
def test_events_needed_stay_near_the_textbook_formula(ratio: float, before: int) -> None:
    """(1.96 + 0.84)^2 (1 + 1 / ratio) / log(ratio)^2 events before on equal hours, 80 %, two-sided 5 %
    (standard log-ratio formula, Signorini 1991 in general form): 49, 80, 150, 355, 1,493. The exact count
    is close to it and below it for the mid-P test."""
    z = 1.959963984540054 + 0.8416212335729143
    assert round(z**2 * (1 + 1 / ratio) / math.log(ratio) ** 2, 0) == pytest.approx(before, abs=1)
    assert power.events_needed(ratio) == pytest.approx(before, rel=0.07)
    assert power.events_needed(ratio) < power.events_needed(ratio, method="exact")


def test_a_unit_with_three_cases_a_quarter_cannot_show_a_third_less_in_a_year() -> None:
    """12 cases expected in the year before: the power for a 30 % fall is far from 80 %."""
    assert power.power(12, 1.0, 0.7) < 0.25
