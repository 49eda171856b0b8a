"""The designs on small drawn panels, each against a computation of another kind, and the rule that picks one."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from handling_review.evidence import designs, designs_by_person, designs_by_unit
from handling_review.evidence.ladder import verdict_of
from handling_review.evidence.panel import (
    ADJUSTED,
    BEFORE_AFTER,
    COMPARISON,
    LADDER,
    LARGEST_USABLE_ERROR,
    NOT_STARTED,
    STAGGERED,
    STARTED,
    STARTING,
    Array,
    Designed,
    Panel,
    Personal,
)

UNITS, QUARTERS = 5, 10
STARTS = (3, 4, 5, 6, None)  # the last unit is a comparison unit


def drawn(seed: int = 3, starts: tuple[int | None, ...] = STARTS, expected: float = 6.0, ratio: float = 0.6) -> Panel:
    dice = np.random.default_rng(seed)
    unit, quarter = np.repeat(np.arange(len(starts)), QUARTERS), np.tile(np.arange(QUARTERS), len(starts))
    begins = np.array([math.inf if start is None else start for start in starts])[unit]
    state = np.where(quarter < begins, NOT_STARTED, np.where(quarter == begins, STARTING, STARTED))
    hours = dice.uniform(15_000, 30_000, unit.size).round(2)
    mean = expected * hours / 20_000 * np.where(state == STARTED, ratio, 1.0)
    return Panel(unit, quarter, state, np.isinf(begins), hours, dice.poisson(mean).astype(float))


def person(seed: int = 5, n: int = 30, ratio: float = 0.6) -> Personal:
    dice = np.random.default_rng(seed)
    hours1, hours0 = dice.uniform(0, 9000, n).round(2), dice.uniform(0, 9000, n).round(2)
    hours1[:6], hours0[6:12] = 0.0, 0.0
    y1, y0 = dice.poisson(ratio * hours1 / 3000), dice.poisson(hours0 / 3000)
    z1, z0 = dice.poisson(hours1 / 4000), dice.poisson(hours0 / 4000)
    return Personal(*(a.astype(float) for a in (y1, hours1, y0, hours0, z1, z0)), years_apart=1.5)


def fitted(panel: Panel, *, by_quarter: bool) -> tuple[float, float, float]:
    """Quasi-Poisson by statsmodels with dummies written out here: ratio and its 95 % limits."""
    used = panel.state != STARTING
    columns = [np.ones(used.sum()), (panel.state[used] == STARTED).astype(float)]
    columns += [(panel.unit[used] == k).astype(float) for k in range(1, int(panel.unit.max()) + 1)]
    if by_quarter:
        columns += [(panel.quarter[used] == k).astype(float) for k in range(1, QUARTERS)]
    else:
        columns.append(panel.quarter[used] / 4)
    x = np.column_stack(columns)
    model = sm.GLM(panel.events[used], x, family=sm.families.Poisson(), offset=np.log(panel.hours[used])).fit(tol=1e-12)
    df = x.shape[0] - x.shape[1]
    error = model.bse[1] * math.sqrt(max(1.0, float(model.pearson_chi2) / df))
    t = stats.t.ppf(0.975, df)
    return math.exp(model.params[1]), math.exp(model.params[1] - t * error), math.exp(model.params[1] + t * error)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(("design", "by_quarter"), [("staggered", True), ("adjusted", False)])
def test_models_agree_with_a_fit_written_out_in_dummies(seed: int, design: str, by_quarter: bool) -> None:
    panel = drawn(seed)
    found = designs.BY_UNIT[design](panel, 0.95)
    assert (found.estimate, found.lower, found.upper) == pytest.approx(fitted(panel, by_quarter=by_quarter), rel=1e-6)


def test_expected_error_is_that_of_a_fit_to_even_rates() -> None:
    panel = drawn()
    rate = panel.events[panel.state != STARTING].sum() / panel.hours[panel.state != STARTING].sum()
    used = panel.state != STARTING
    x = np.column_stack(
        [
            (panel.state[used] == STARTED).astype(float),
            *[(panel.unit[used] == k).astype(float) for k in range(UNITS)],
            *[(panel.quarter[used] == k).astype(float) for k in range(1, QUARTERS)],
        ]
    )
    covariance = np.linalg.inv(x.T @ (x * (panel.hours[used] * rate)[:, None]))  # inverse Fisher information
    found = designs_by_unit.staggered(panel, 0.95).expected_error
    assert found == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-9)


def test_before_and_after_is_the_ratio_of_the_sums() -> None:
    data = person()
    found = designs_by_person.before_after(data, 0.95)
    crude = (data.events1.sum() / data.hours1.sum()) / (data.events0.sum() / data.hours0.sum())
    assert found.estimate == pytest.approx(crude)
    # Given all cases, those after are binomial: exact mid-P limits by solving the binomial tails.
    n, share = data.events1.sum() + data.events0.sum(), data.hours1.sum() / data.hours0.sum()
    odds = found.upper * share
    p = odds / (1 + odds)
    y = data.events1.sum()
    assert stats.binom.cdf(y, n, p) - 0.5 * stats.binom.pmf(y, n, p) == pytest.approx(0.025, abs=1e-6)


def test_negative_control_is_the_odds_ratio_of_the_two_by_two_table() -> None:
    data = person()
    table = [[data.events1.sum(), data.events0.sum()], [data.other1.sum(), data.other0.sum()]]
    found = designs_by_person.negative_control(data, 0.95)
    assert found.estimate == pytest.approx(stats.fisher_exact(np.array(table).astype(int)).statistic)
    exact = stats.contingency.odds_ratio(np.array(table).astype(int)).confidence_interval(0.95)
    assert exact.low < found.lower < found.estimate < found.upper < exact.high  # mid-P lies inside the exact limits


def test_within_quarter_is_mantel_haenszel_over_strata_with_both_kinds_of_hours() -> None:
    data = person()
    both = (data.hours1 > 0) & (data.hours0 > 0)
    y1, t1, y0, t0 = (a[both] for a in (data.events1, data.hours1, data.events0, data.hours0))
    by_hand = (y1 * t0 / (t1 + t0)).sum() / (y0 * t1 / (t1 + t0)).sum()
    found = designs_by_person.within_quarter(data, 0.95)
    assert found.estimate == pytest.approx(by_hand)
    assert (found.events1, found.hours0) == (y1.sum(), pytest.approx(t0.sum()))


def test_comparison_leaves_the_roll_out_out_of_both_groups() -> None:
    panel = drawn()
    early, late = panel.quarter < 3, panel.quarter > 6  # first start in quarter 3, last in quarter 6
    cells = [
        (panel.events[rows].sum(), panel.hours[rows].sum())
        for rows in (
            ~panel.is_comparison & late,
            ~panel.is_comparison & early,
            panel.is_comparison & late,
            panel.is_comparison & early,
        )
    ]
    (a, ta), (b, tb), (c, tc), (d, td) = cells
    found = designs_by_unit.comparison(panel, 0.95)
    assert found.estimate == pytest.approx((a / ta / (b / tb)) / (c / tc / (d / td)))
    assert (found.events1, found.events0) == (a, b)


def test_no_comparison_without_units_or_without_quarters_on_both_sides() -> None:
    assert "comparison unit" in designs_by_unit.comparison(drawn(starts=(3, 4, 5)), 0.95).reason
    assert "no quarters lie wholly" in designs_by_unit.comparison(drawn(starts=(0, 4, None)), 0.95).reason


def test_all_units_starting_together_cannot_be_told_from_time() -> None:
    found = designs_by_unit.staggered(drawn(starts=(4, 4, 4)), 0.95)
    assert found.reason == "starting cannot be told apart from the passing of time: all units began together"
    assert designs_by_unit.adjusted(drawn(starts=(4, 4, 4)), 0.95).reason == ""


def test_a_slope_that_differs_before_the_start_is_seen() -> None:
    panel = drawn(expected=40.0, ratio=1.0)
    climbing = np.where(panel.is_comparison & (panel.quarter < 3), 1 + panel.quarter, 1.0)
    found = designs_by_unit.staggered(replace(panel, events=np.round(panel.events * climbing)), 0.95)
    check = next(item for item in found.checks if "moving alike" in item.assumption)
    assert check.met is False
    calm = next(i for i in designs_by_unit.staggered(panel, 0.95).checks if "moving alike" in i.assumption)
    assert calm.met is True


@pytest.mark.parametrize("seed", range(6))
def test_the_choice_does_not_look_at_which_side_the_cases_fell(seed: int) -> None:
    panel, data = drawn(seed), person(seed)
    chosen = designs.choose_primary(designs.all_designs(panel, data, 0.95))
    dice = np.random.default_rng(seed)
    for _ in range(4):
        kept = panel.state != STARTING
        order = np.arange(panel.events.size)
        order[kept] = dice.permutation(np.flatnonzero(kept))
        other = designs.all_designs(replace(panel, events=panel.events[order]), data, 0.95)
        assert [item.design for item in other.values() if item.reason] == []
        staggered = designs_by_unit.staggered(panel, 0.95).expected_error
        assert other[STAGGERED].expected_error == pytest.approx(staggered), "hours and totals alone"
        if chosen != COMPARISON:  # its roll-out quarters are left out, so its total can move
            assert designs.choose_primary(other) in (chosen, COMPARISON)


def found_with(**errors: float) -> dict[str, Designed]:
    """Designs with these expected errors; the others cannot be computed."""
    return {
        name: Designed(name, 0.5, 0.3, 0.8, expected_error=errors[name])
        if name in errors
        else Designed(name, reason="none")
        for name in LADDER
    }


def test_the_rule_takes_the_strongest_that_the_hours_can_carry() -> None:
    small, large = LARGEST_USABLE_ERROR - 0.1, LARGEST_USABLE_ERROR + 0.1
    choose = designs.choose_primary
    assert choose(found_with(staggered=small, comparison=small + 0.05, adjusted=0.1, before_after=0.1)) == STAGGERED
    assert choose(found_with(staggered=small + 0.05, comparison=small, adjusted=0.1)) == COMPARISON
    assert choose(found_with(staggered=large, adjusted=small, before_after=0.1)) == ADJUSTED
    assert choose(found_with(staggered=large, adjusted=large + 0.1, before_after=0.1)) == STAGGERED
    assert choose(found_with(before_after=0.1, negative_control=0.1, within_quarter=0.1)) == BEFORE_AFTER
    assert choose(found_with(before_after=0.1), "interrupted") == "interrupted", "fixed beforehand is fixed"


def test_largest_usable_error_is_a_fall_by_four_fifths_found_four_times_in_five() -> None:
    z = stats.norm.ppf(0.975) + stats.norm.ppf(0.8)
    assert math.exp(-z * LARGEST_USABLE_ERROR) == pytest.approx(0.2, abs=1e-3)


def test_before_and_after_must_beat_a_general_fall_of_four_per_cent_a_year() -> None:
    below = designs.background_ratio(BEFORE_AFTER, 2.5)
    assert below == pytest.approx(0.96**2.5)
    item = Designed(BEFORE_AFTER, 0.7, 0.5, 0.95)
    assert verdict_of(item, below) == "cannot_tell"
    assert verdict_of(replace(item, upper=0.89), below) == "lower"
    assert designs.background_ratio(STAGGERED, 2.5) == 1
    assert designs.background_ratio(BEFORE_AFTER, math.nan) == 1


def test_kinds_that_hold_each_other_are_not_set_against_each_other() -> None:
    """All recordable cases hold the other injuries: the 2 x 2 table of kinds would count those twice."""
    found = designs_by_person.negative_control(replace(person(), holds_others=True), 0.95)
    assert "not apart" in found.reason


def nothing(n: int) -> Array:
    return np.zeros(n)


@pytest.mark.parametrize("n", [0, 1, 4])
def test_no_hours_or_no_cases_give_reasons_and_no_error(n: int) -> None:
    hours = np.full(n, 1000.0)
    codes = np.arange(n, dtype=np.intp)
    panel = Panel(codes, codes, np.zeros(n, dtype=np.intp), np.zeros(n, dtype=bool), hours, nothing(n))
    for data_hours in (nothing(n), hours):
        data = Personal(nothing(n), data_hours, nothing(n), data_hours, nothing(n), nothing(n), math.nan)
        for name, item in designs.all_designs(panel, data, 0.95).items():
            assert item.reason or math.isnan(item.estimate), name
            assert verdict_of(item, 1.0) == "no_ratio"
