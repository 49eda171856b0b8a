"""The before and after comparison, against drawn tables and published examples."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from handling_review.evidence import answer, before_after, rates, turning
from handling_review.evidence.contrast import Contrast, contrast, direction_of
from handling_review.evidence.ladder import Rung
from handling_review.evidence.measure import measure
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tally import Tally
from spec import made_up_tables as made_up

# 15 and 41 cases in 19,017 and 28,010: the worked incidence-rate example of the Stata manual (41 / 28,010 against
# 15 / 19,017 person-years: ratio 1.855759, difference 0.000675; exact limits 1.005684 to 3.6093).
STATA = """
quarter  unit phase   handling non_handling hours
2024-Q1  A    before  10       4            12017
2024-Q2  A    before  5        4            7000
2024-Q2  A    washout 9        1            3000
2024-Q3  A    after   21       4            15010
2024-Q4  A    after   20       4            13000
2024-Q4  B    never   7        2            9000
2024-Q4  B    unknown 3        0            1000
"""


def gathered(table: str = STATA, **options: object) -> before_after.BeforeAfter:
    tables, program = made_up.drawn(table, **options), made_up.program()  # type: ignore[arg-type]
    return before_after.gather(tables, rates.gather(tables, program).complete(), program)


def answered(table: str) -> answer.Answer:
    tables, program = made_up.drawn(table), made_up.program()
    complete = rates.gather(tables, program).complete()
    return answer.gather(tables, Strata(tables, complete), before_after.gather(tables, complete, program), program)


def other_way(table: str, name: str) -> Rung:
    """One row of the other ways of asking."""
    return next(row.rung for row in answered(table).sensitivity.rows if row.name == name)


def test_the_ratio_is_that_of_the_published_example() -> None:
    found = gathered().primary.ratio
    assert found is not None
    assert found.value.key == "ratio/facility/before_after/handling"
    assert found.value.value == pytest.approx(1.855759, abs=1e-6)
    # The mid-P limits lie inside the published exact ones, 1.005684 to 3.6093.
    assert found.lower.value is not None
    assert found.upper.value is not None
    assert 1.005684 < found.lower.value < 1.855759 < found.upper.value < 3.6093


def test_the_difference_is_that_of_the_published_example() -> None:
    found = gathered().primary.difference
    assert found is not None
    assert found.value.value == pytest.approx(0.000675 * 200_000, abs=0.1)


def test_cases_avoided_are_the_difference_on_the_hours_after() -> None:
    found = gathered().primary.avoided
    assert found is not None
    assert found.value.value == pytest.approx((15 / 19_017 - 41 / 28_010) * 28_010)


def test_washout_never_and_unknown_stay_out_of_the_comparison() -> None:
    change = gathered()
    assert [p.phase for p in change.phases if p.in_contrast] == ["before", "after"]
    assert change.primary.then.events.value == 10 + 5
    assert change.primary.now.events.value == 21 + 20
    assert change.primary.now.hours.value == 15_010 + 13_000


def test_shares_of_hours_add_up_to_one() -> None:
    assert sum(p.hours_share.value or 0 for p in gathered().phases) == pytest.approx(1)


def test_an_incomplete_quarter_leaves_with_its_cases_and_its_hours() -> None:
    change = gathered(gaps={"2024-Q4": "hours missing"})
    assert (change.primary.now.events.value, change.primary.now.hours.value) == (21, 15_010)
    assert change.left_out_cases.value == 20 + 7 + 3
    assert change.left_out_hours.value == 13_000 + 9_000 + 1_000


def verdict(events1: int, events0: int, hours1: int = 400_000, hours0: int = 400_000) -> str:
    lines = [
        "quarter unit phase handling hours",
        f"2024-Q1 A before {events0} {hours0}",
        f"2024-Q2 A after {events1} {hours1}",
    ]
    return gathered("\n".join(lines)).primary.verdict


@pytest.mark.parametrize(
    ("after", "before", "expected"),
    [
        (10, 40, "lower"),
        (40, 10, "higher"),
        (20, 22, "cannot_tell"),
        (4, 40, "few_cases"),
        (40, 4, "few_cases"),
        (0, 0, "few_cases"),
    ],
)
def test_the_verdict_follows_from_the_counts(after: int, before: int, expected: str) -> None:
    assert verdict(after, before) == expected


def test_no_hours_after_training_is_nothing_to_compare() -> None:
    found = gathered("quarter unit phase handling hours\n2024-Q1 A before 10 50000").primary
    assert found.verdict == "no_data"
    assert found.ratio is None
    assert found.avoided is None


def test_hours_after_only_in_incomplete_quarters_give_counts_only() -> None:
    table = "quarter unit phase handling hours\n2024-Q1 A before 10 50000\n2024-Q2 A after 2 50000"
    found = gathered(table, gaps={"2024-Q2": "hours missing"}).primary
    assert found.verdict == "counts_only"
    assert found.ratio is None


def test_no_case_before_gives_no_upper_limit_and_no_estimate() -> None:
    table = "quarter unit phase handling hours\n2024-Q1 A before 0 50000\n2024-Q2 A after 6 50000"
    found = gathered(table).primary.ratio
    assert found is not None
    assert found.value.value == math.inf
    assert found.upper.shown == "no limit"


def test_a_limit_that_prints_as_one_leaves_one_in() -> None:
    assert direction_of(1.0004, 3.0) == "cannot_tell"
    assert direction_of(1.006, 3.0) == "higher"
    assert direction_of(0.2, 0.9951) == "cannot_tell"
    assert direction_of(0.2, 0.994) == "lower"


UNDECIDED = pd.DataFrame(
    [("2024-Q1", "A", "before", 2), ("2024-Q3", "A", "after", 3), ("2024-Q4", "B", "never", 1)],
    columns=["quarter", "unit", "phase", "events"],
)


def test_undecided_cases_are_counted_on_both_sides_and_on_one_side_only() -> None:
    bounds = gathered(unclassified=UNDECIDED).unclassified
    pairs = [
        (item.now.events.value, item.then.events.value)
        for item in (bounds.all_counted, bounds.most_favourable, bounds.least_favourable)
    ]
    assert pairs == [(41 + 3, 15 + 2), (41, 15 + 2), (41 + 3, 15)]


def test_many_undecided_cases_lead() -> None:
    bounds = gathered(unclassified=UNDECIDED).unclassified
    decided = 10 + 5 + 9 + 21 + 20 + 7 + 3
    assert bounds.share.value == pytest.approx(6 / (6 + decided))
    assert not bounds.leads
    many = UNDECIDED.assign(events=[10, 15, 1])
    assert gathered(unclassified=many).unclassified.leads


def test_lapsed_hours_count_after_training_and_are_left_out_in_one_variant() -> None:
    table = """
    quarter unit phase  lapsed handling hours
    2024-Q1 A    before no     20       100000
    2024-Q2 A    after  no     8        100000
    2024-Q3 A    after  yes    5        40000
    """
    assert gathered(table).primary.now.events.value == 8 + 5
    current = other_way(table, "training_current")
    assert (current.now_events.value, current.now_hours.value) == (8, 100_000)


def test_the_units_start_date_is_another_way_of_asking() -> None:
    table = """
    quarter unit phase  go_live_phase handling hours
    2024-Q1 A    before before        20       100000
    2024-Q2 A    before after         6        50000
    2024-Q3 A    after  after         8        100000
    2024-Q3 B    never  none          3        60000
    """
    start = other_way(table, "unit_start")
    assert (start.now_events.value, start.now_hours.value) == (6 + 8, 150_000)
    assert (start.then_events.value, start.then_hours.value) == (20, 100_000)


def test_the_background_is_the_national_fall_over_the_time_between_the_phases() -> None:
    # Before: half in the middle of 2024-Q1, half in that of Q2 (weights 12,017 and 7,000). After: Q3 and Q4.
    # Middles in days of 2024 (a quarter has 91, 91, 92 and 92): 45, 136, 227.5 and 319.5.
    found = gathered().background
    assert found is not None
    before = (12_017 * 45 + 7_000 * 136) / 19_017 / 365.25
    after = (15_010 * 227.5 + 13_000 * 319.5) / 28_010 / 365.25
    assert found.years_apart.value == pytest.approx(after - before)
    assert found.ratio_if_fast_fall.value == pytest.approx(0.96 ** (after - before))
    assert found.ratio_if_slow_fall.value == pytest.approx(0.97 ** (after - before))


def test_the_negative_control_is_the_odds_ratio_of_the_table_of_cases() -> None:
    # Handling 41 and 15 cases, other injuries 8 and 8: (41 x 8) / (15 x 8); the hours cancel.
    found = answered(STATA).ladder.of("negative_control").ratio
    assert found is not None
    assert found.value.value == pytest.approx((41 * 8) / (15 * 8))


def compared(events1: int, events0: int) -> Contrast:
    program = made_up.program()
    return contrast(
        "facility/before_after",
        "before_after",
        measure("facility/after", "handling", Tally(events1, 400_000), program),
        measure("facility/before", "handling", Tally(events0, 300_000), program),
        program,
        labels=("after training", "before training"),
    )


@pytest.mark.parametrize(("after", "before"), [(10, 40), (20, 22), (3, 30), (0, 12), (5, 0), (900, 1000)])
def test_the_answer_turns_exactly_where_the_review_says(after: int, before: int) -> None:
    turn = turning.turning_point(compared(after, before), made_up.program())
    assert turn is not None
    highest = int(turn.higher_at_least.value or 0)
    assert compared(highest, before).direction == "higher"
    assert compared(highest - 1, before).direction != "higher"
    if turn.lower_at_most is None:
        assert compared(0, before).direction != "lower"
    else:
        lowest = int(turn.lower_at_most.value or 0)
        assert compared(lowest, before).direction == "lower"
        assert compared(lowest + 1, before).direction != "lower"


def test_what_the_hours_could_have_shown_agrees_with_the_power_table() -> None:
    # Exact power of the mid-P test, equal hours: a fall of a half is found four times in five with about 46
    # expected cases before (enumeration in R 4.2, see the power reference data of the oracle tests).
    found = answered("quarter unit phase handling hours\n2024-Q1 A before 46 400000\n2024-Q2 A after 40 400000")
    assert found.ladder.primary == "before_after"
    assert found.power.smallest_fall is not None
    assert found.power.smallest_fall.value == pytest.approx(0.50, abs=0.01)


def test_no_case_before_can_show_nothing() -> None:
    found = answered("quarter unit phase handling hours\n2024-Q1 A before 0 300000\n2024-Q2 A after 6 400000")
    assert found.power.smallest_fall is None


def test_the_primary_series_comes_first_and_the_comparison_series_last() -> None:
    tables, program = made_up.tables(), made_up.program(series="dart")
    change = before_after.gather(tables, rates.gather(tables, program).complete(), program)
    assert [item.series for item in change.contrasts] == ["dart", "handling", "recordable", "days_away", "non_handling"]
