"""Published evaluations with a comparison group, put through the designs and their verdicts.

Sources: Jesdale 2018, J Nurs Home Res 4:36 (mean DART cases per 100 full-time staff, nursing homes in eight states with
a safe-handling law and in 36 without, before and after); Black and others 2011, J Occup Environ Hyg 8:226 (injuries per
100 full-time staff, three hospitals with a lift program and three without, one year before and after).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from handling_review.evidence.contrast import CANNOT_TELL, LOWER
from handling_review.evidence.designs_by_person import before_after
from handling_review.evidence.designs_by_unit import comparison
from handling_review.evidence.ladder import verdict_of
from handling_review.evidence.panel import NOT_STARTED, STARTED, Panel, Personal
from handling_review.stats import groups

FULL_TIME = 2000.0  # hours; rates per 100 full-time staff are cases per 200,000 hours

# Law states before and after, other states before and after.
LAW = (7.53, 5.76, 8.54, 6.46)
# Counts implied by the published rates if each group has as many full-time staff after as before (an assumption:
# about 1,804 and 2,007): 14.68 -> 8.1 and 9.29 -> 8.4.
BLACK_COUNTS = (265, 146, 186, 169)
BLACK_STAFF = (1804, 2007)


def panel(counts: tuple[int, int, int, int], hours: tuple[float, float]) -> Panel:
    """Group 0 starts in quarter 1; group 1 never does."""
    return Panel(
        unit=np.array([0, 0, 1, 1]),
        quarter=np.array([0, 1, 0, 1]),
        state=np.array([NOT_STARTED, STARTED, NOT_STARTED, NOT_STARTED]),
        is_comparison=np.array([False, False, True, True]),
        hours=np.array([hours[0], hours[0], hours[1], hours[1]]),
        events=np.array(counts, dtype=float),
    )


def ratio_of_ratios(rates: tuple[float, float, float, float], hours: float) -> float:
    before, after, other_before, other_after = (round(rate * hours / 200_000) for rate in rates)
    found = groups.difference_in_differences(after, hours, before, hours, other_after, hours, other_before, hours)
    return found.estimate


def test_the_fall_under_a_law_was_the_fall_without_one() -> None:
    before, after, other_before, other_after = LAW
    assert after / before - 1 == pytest.approx(-0.235, abs=5e-4)
    assert other_after / other_before - 1 == pytest.approx(-0.244, abs=5e-4)
    assert (after / before) / (other_after / other_before) == pytest.approx(1.011, abs=5e-4)
    assert ratio_of_ratios(LAW, 2e9) == pytest.approx(1.011, abs=5e-4)
    assert (after - before) - (other_after - other_before) == pytest.approx(0.31, abs=5e-3)


def test_before_and_after_alone_claims_it_and_the_comparison_does_not() -> None:
    # The rates on 20 million hours a group and period.
    hours = 2e7
    counts = tuple(round(rate * hours / 200_000) for rate in LAW)
    single = [np.array([float(n)]) for n in (counts[1], hours, counts[0], hours, 0, 0)]
    alone = before_after(Personal(*single, years_apart=1.0), 0.95)
    assert alone.estimate == pytest.approx(0.765, abs=2e-3)
    assert verdict_of(alone, 1.0) == LOWER, "the failure that the comparison is there to prevent"
    beside = comparison(panel((counts[0], counts[1], counts[2], counts[3]), (hours, hours)), 0.95)
    assert beside.estimate == pytest.approx(1.011, abs=2e-3)
    assert beside.lower < 1 < beside.upper
    assert verdict_of(beside, 1.0) == CANNOT_TELL


def test_the_hospitals_with_lifts_fell_beyond_those_without() -> None:
    own, other = 8.1 / 14.68, 8.4 / 9.29
    assert own / other == pytest.approx(0.610, abs=5e-4)
    own, other = 2.51 / 5.3, 6.46 / 5.87  # with time lost
    assert own / other == pytest.approx(0.430, abs=5e-4)
    hours = tuple(staff * FULL_TIME for staff in BLACK_STAFF)
    found = comparison(panel(BLACK_COUNTS, (hours[0], hours[1])), 0.95)
    assert found.estimate == pytest.approx(0.610, abs=5e-3)
    assert found.lower == pytest.approx(0.46, abs=0.01)
    assert found.upper == pytest.approx(0.82, abs=0.01)
    assert verdict_of(found, 1.0) == LOWER


def test_the_published_headline_is_the_change_of_both_groups_together() -> None:
    # 0.693 (0.60 to 0.80) in the paper; both groups pooled under the same assumption give 0.697.
    before, after = BLACK_COUNTS[0] + BLACK_COUNTS[2], BLACK_COUNTS[1] + BLACK_COUNTS[3]
    hours = sum(BLACK_STAFF) * FULL_TIME
    single = [np.array([float(n)]) for n in (after, hours, before, hours, 0, 0)]
    pooled = before_after(Personal(*single, years_apart=1.0), 0.95)
    assert pooled.estimate == pytest.approx(0.697, abs=2e-3)
    error = (math.log(pooled.upper) - math.log(pooled.lower)) / 3.92
    assert error == pytest.approx((math.log(0.80) - math.log(0.60)) / 3.92, abs=3e-3)
