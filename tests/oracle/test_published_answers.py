"""Published evaluations as whole facilities: tables in, verdict out.

Sources: Jesdale 2018, J Nurs Home Res 4:36 (mean DART cases per 100 full-time staff in nursing homes of eight states
with a safe-handling law and of 36 without); Black and others 2011, J Occup Environ Hyg 8:226 (injuries per 100
full-time staff, three hospitals with a lift program and three without, a year before and after); Li and others 2004,
Inj Prev 10:212 (a ratio that adjusting dissolves); counts without hours as trade reports give them: a lift team, 16
before and 1 after, and a hospital, 11 before and 2 after.
"""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from handling_review.evidence import answer, before_after, rates
from handling_review.evidence.answer import Answer
from handling_review.evidence.designs_by_person import before_after as before_and_after
from handling_review.evidence.ladder import verdict_of
from handling_review.evidence.panel import COMPARISON, STAGGERED, Designed, Personal
from handling_review.evidence.strata_table import Strata
from handling_review.stats import groups
from spec import made_up_tables as made_up

UNITS = pd.DataFrame(
    [("P", "With", "", date(2024, 4, 1), False), ("C", "Without", "", None, True)],
    columns=["unit", "name", "care_type", "program_start", "comparison"],
)


def facility(counts: tuple[int, int, int, int], hours: tuple[float, float]) -> Answer:
    """One year before in one quarter and one after in another, a quarter of roll-out between them."""
    before, after, other_before, other_after = counts
    table = f"""
    quarter  unit phase   go_live_phase handling non_handling hours
    2024-Q1  P    before  before        {before} 9 {hours[0]}
    2024-Q1  C    never   none          {other_before} 9 {hours[1]}
    2024-Q2  P    washout after         3 1 9000
    2024-Q2  C    never   none          4 1 9000
    2024-Q3  P    after   after         {after} 9 {hours[0]}
    2024-Q3  C    never   none          {other_after} 9 {hours[1]}
    """
    settings = made_up.program()
    tables = made_up.drawn(table, units=UNITS)
    quarters = rates.gather(tables, settings).complete()
    return answer.gather(tables, Strata(tables, quarters), before_after.gather(tables, quarters, settings), settings)


LAW = (7.53, 5.76, 8.54, 6.46)
LAW_HOURS = (3e7, 8.8e7)  # some 15,000 and 44,000 full-time staff: plausible for 2,034 and 5,901 homes, and no more
LAW_COUNTS = tuple(round(rate * LAW_HOURS[i // 2] / 200_000) for i, rate in enumerate(LAW))
BLACK_COUNTS, BLACK_HOURS = (265, 146, 186, 169), (1804 * 2000.0, 2007 * 2000.0)


def test_a_fall_that_came_to_all_homes_is_no_effect_of_the_law() -> None:
    found = facility((LAW_COUNTS[0], LAW_COUNTS[1], LAW_COUNTS[2], LAW_COUNTS[3]), LAW_HOURS)
    plain, compared = found.ladder.of("before_after"), found.ladder.of(COMPARISON)
    assert plain.ratio is not None
    assert plain.ratio.value.value == pytest.approx(1 - 0.235, abs=2e-3)
    assert plain.verdict == "lower", "what a review without comparison units would have said"
    assert compared.ratio is not None
    assert compared.ratio.value.value == pytest.approx(1.011, abs=3e-3)
    assert compared.verdict == "cannot_tell"
    assert found.ladder.primary in (COMPARISON, STAGGERED)
    assert found.ladder.lead.verdict == "cannot_tell"


def test_a_fall_beyond_that_of_the_other_hospitals_is_lower() -> None:
    found = facility(BLACK_COUNTS, BLACK_HOURS)
    assert found.ladder.primary in (COMPARISON, STAGGERED)
    compared = found.ladder.of(COMPARISON)
    assert compared.ratio is not None
    assert compared.ratio.value.value == pytest.approx(0.610, abs=5e-3)
    assert compared.verdict == found.ladder.lead.verdict == "lower"


def test_the_interval_of_the_hospitals_is_that_of_four_counts() -> None:
    """Equal hours inside each group cancel: the interval is that of the odds ratio of the four counts."""
    own_before, own_after, other_before, other_after = BLACK_COUNTS
    staff = BLACK_HOURS
    found = groups.difference_in_differences(
        own_after, staff[0], own_before, staff[0], other_after, staff[1], other_before, staff[1]
    )
    # Limits on the log scale around the published rates: 0.46 to 0.82 is what those counts give as an error.
    error = math.sqrt(sum(1 / n for n in BLACK_COUNTS))
    centre = math.log(8.1 / 14.68 / (8.4 / 9.29))
    wald = [math.exp(centre + sign * 1.959963985 * error) for sign in (-1, 1)]
    assert [round(limit, 2) for limit in wald] == [0.46, 0.82]
    assert [found.lower, found.upper] == pytest.approx([0.46, 0.82], abs=0.01), "counts are whole, rates are not"
    exact = stats.contingency.odds_ratio(np.array([[own_after, own_before], [other_after, other_before]]))
    limits = exact.confidence_interval(0.95)
    assert limits.low < found.lower < exact.statistic < found.upper < limits.high


def test_time_lost_fell_to_less_than_half_beside_the_other_hospitals() -> None:
    counts = [round(rate * staff / 100) for rate, staff in ((2.51, 1804), (5.3, 1804), (6.46, 2007), (5.87, 2007))]
    found = groups.difference_in_differences(
        counts[0], BLACK_HOURS[0], counts[1], BLACK_HOURS[0], counts[2], BLACK_HOURS[1], counts[3], BLACK_HOURS[1]
    )
    assert found.estimate == pytest.approx(0.430, abs=0.01)
    assert found.upper < 1


def test_adjusting_for_the_other_units_takes_the_answer_away() -> None:
    crude = Designed(STAGGERED, 0.37, 0.16, 0.88)
    adjusted = Designed(STAGGERED, 0.50, 0.20, 1.26)
    assert (verdict_of(crude, 1.0), verdict_of(adjusted, 1.0)) == ("lower", "cannot_tell")


@pytest.mark.parametrize(
    ("before", "after", "ratio", "low", "high"), [(11, 2, 0.18, 0.02, 0.83), (16, 1, 0.0625, 0.0015, 0.40)]
)
def test_counts_as_if_hours_were_equal(before: int, after: int, ratio: float, low: float, high: float) -> None:
    hours = np.array([1e5])
    data = Personal(np.array([float(after)]), hours, np.array([float(before)]), hours, hours * 0, hours * 0, 1.0)
    found = before_and_after(data, 0.95)
    assert found.estimate == pytest.approx(ratio, abs=5e-3)
    # The published limits are the exact ones; mid-P lies inside them.
    assert low - 5e-3 < found.lower < found.estimate < found.upper < high + 5e-3
    assert verdict_of(found, 1.0) == "lower"
