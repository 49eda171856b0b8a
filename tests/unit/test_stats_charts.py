"""Signals, fall-backs and refusals of charts, funnel, severity and money."""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np
import pytest

from handling_review.stats import charts, cusum, funnel, money, ratios, severity

HOURS = [150_000.0] * 12


class TestUChart:
    def test_the_centre_is_the_pooled_rate_of_the_baseline_only(self) -> None:
        found = charts.u_limits([6, 0, 30], [3e5, 1e5, 1e5], 2)
        assert found.centre_per_200k == 6 * 200_000 / 400_000
        marked = charts.u_limits([6, 0, 30], [3e5, 1e5, 1e5], [True, True, False])
        assert marked.centre_per_200k == found.centre_per_200k

    def test_a_count_on_the_limit_is_no_signal_one_beyond_is(self) -> None:
        base = [6] * 12
        limit = charts.u_limits(base, HOURS, 12).upper[0] * 150_000 / 200_000
        for extra, is_signal in ((0, False), (1, True)):
            chart = charts.u_limits([*base, round(limit) + extra], [*HOURS, 150_000], 12)
            marks = charts.signals(chart.rate_per_200k, chart.centre_per_200k, chart.lower, chart.upper)
            assert bool(marks.outside[-1]) == is_signal

    def test_false_alarms_stay_below_the_tail_area(self) -> None:
        found = charts.u_limits([6] * 12, HOURS, 12)
        assert (found.false_alarm <= 0.0027).all()
        assert (found.false_alarm > 0).all()
        three_sigma = charts.u_limits([2] * 12, HOURS, 12, "sigma")
        assert three_sigma.false_alarm[0] > 0.0027  # the normal curve is too short for small counts

    def test_a_period_without_hours_has_no_point(self) -> None:
        found = charts.u_limits([6, 0, 6], [1e5, 0, 1e5], 3)
        assert np.isnan([found.rate_per_200k[1], found.lower[1], found.upper[1]]).all()
        assert found.centre_per_200k == 12

    def test_laney_without_extra_spread_keeps_plain_limits(self) -> None:
        found = charts.u_limits([60] * 12, HOURS, 12, "laney")
        assert found.kind == "sigma"
        assert "no spread beyond Poisson's" in found.notes[-1]

    def test_laney_on_small_counts_is_warned_of(self) -> None:
        found = charts.u_limits([1, 12] * 6, HOURS, 12, "laney")
        assert found.kind == "laney"
        assert "small counts" in found.notes[-1]

    def test_a_baseline_without_events_is_named(self) -> None:
        found = charts.u_limits([0, 0, 1], [1e5] * 3, 2)
        assert "no event in the baseline" in found.notes[-1]
        marks = charts.signals(found.rate_per_200k, 0, found.lower, found.upper)
        assert marks.outside.tolist() == [False, False, True]

    def test_a_short_baseline_is_named(self) -> None:
        assert "rests on few points" in charts.u_limits([5] * 6, HOURS[:6], 3).notes[0]

    def test_the_kind_follows_from_the_counts(self) -> None:
        assert charts.best_kind([1, 0, 2, 1], [1e5] * 4, 4) == "days_between"
        assert charts.best_kind([5, 6, 2, 9], [1e5] * 4, 4) == "poisson"
        assert charts.best_kind([500, 900] * 4, [1e5] * 8, 8) == "laney"
        assert charts.best_kind([500, 501] * 4, [1e5] * 8, 8) == "poisson"

    def test_bad_input_is_refused(self) -> None:
        with pytest.raises(ValueError, match="baseline must be 1 to 3 periods"):
            charts.u_limits([1, 2, 3], [1e5] * 3, 4)
        with pytest.raises(ValueError, match="one entry per period"):
            charts.u_limits([1, 2, 3], [1e5] * 3, [True])
        with pytest.raises(ValueError, match="at least one period with hours"):
            charts.u_limits([0, 2, 3], [0, 1e5, 1e5], 1)
        with pytest.raises(ValueError, match="kind must be one of"):
            charts.u_limits([1, 2, 3], [1e5] * 3, 3, "p")
        with pytest.raises(ValueError, match="wherever there are events"):
            charts.u_limits([1, 2, 3], [0, 1e5, 1e5], 3)


class TestSignals:
    def signals(self, values: list[float]) -> charts.Signals:
        return charts.signals(values, 10, 0, 20)

    def test_eight_on_one_side_are_a_run_seven_are_not(self) -> None:
        assert self.signals([12] * 8).run.tolist() == [True] * 8
        assert not self.signals([12] * 7 + [9]).run.any()

    def test_a_point_on_the_line_neither_adds_nor_ends(self) -> None:
        found = self.signals([9] * 4 + [10] + [9] * 4)
        assert found.run.tolist() == [True] * 4 + [False] + [True] * 4
        assert not self.signals([9] * 4 + [10] + [9] * 3).run.any()

    def test_six_rising_or_falling_are_a_trend_five_are_not(self) -> None:
        assert self.signals([5, 6, 7, 8, 9, 11]).trend.tolist() == [True] * 6
        assert self.signals([11, 9, 8, 7, 6, 5]).trend.all()
        assert not self.signals([5, 6, 7, 8, 9, 3]).trend.any()

    def test_of_equal_neighbours_one_counts(self) -> None:
        found = self.signals([5, 6, 7, 7, 8, 9, 11])
        assert found.trend.tolist() == [True, True, True, False, True, True, True]
        assert not self.signals([5, 6, 7, 7, 8, 9]).trend.any()

    def test_a_missing_point_is_passed_over(self) -> None:
        found = self.signals([12] * 4 + [math.nan] + [12] * 4)
        assert found.run.sum() == 8
        assert not found.outside.any()

    def test_only_points_beyond_a_limit_are_outside(self) -> None:
        assert charts.signals([0, 20, 20.1, -0.1], 10, 0, 20).outside.tolist() == [False, False, True, True]

    def test_no_points_give_no_signals(self) -> None:
        assert charts.signals([], 10, 0, 20).run.size == 0
        assert not charts.signals([math.nan], 10, 0, 20).trend.any()


class TestDaysBetween:
    def test_equal_waits_have_limits_at_the_wait(self) -> None:
        found = charts.days_between([20] * 10)
        assert (found.lower, found.centre, found.upper) == pytest.approx((20, 20, 20))

    def test_only_the_baseline_counts(self) -> None:
        days = [12, 3, 34, 5, 61, 22, 8, 90, 400, 500]
        assert charts.days_between(days, 8) == charts.days_between(days[:8])

    def test_two_on_one_day_are_allowed(self) -> None:
        assert charts.days_between([0, 10, 30, 5]).lower == 0

    def test_bad_waits_are_refused(self) -> None:
        for bad in ([5], [0, 0, 0], [-1, 4]):
            with pytest.raises(ValueError, match="days must"):
                charts.days_between(bad)
        with pytest.raises(ValueError, match="kind must be one of"):
            charts.days_between([3, 4], kind="geometric")


class TestCusum:
    def test_a_doubling_is_found_and_a_steady_rate_is_not(self) -> None:
        steady, doubled = [6] * 12, [6] * 6 + [12] * 6
        assert not charts.poisson_cusum(steady, HOURS, 8).signal.any()
        found = charts.poisson_cusum(doubled, HOURS, 8)
        assert found.signal.any()
        assert found.signal[:6].sum() == 0

    @pytest.mark.parametrize(("target", "ratio"), [(8, 2.0), (0.58, 2.0), (3.4, 1.5), (9.0, 0.5), (15, 0.5)])
    def test_the_threshold_is_the_lowest_with_the_false_alarms_asked_for(self, target: float, ratio: float) -> None:
        found = charts.poisson_cusum([6] * 12, HOURS, target, ratio, periods_between_false_alarms=100)
        assert found.in_control_run_length >= 100
        mean, k, upward = target * 0.75, float(found.reference[0]), ratio > 1
        assert cusum.run_length(mean, k, found.threshold - 0.05, upward=upward) < 100
        assert found.changed_run_length < found.in_control_run_length / 4

    def test_large_counts_and_small_changes_still_have_a_threshold(self) -> None:
        found = charts.poisson_cusum([1_000] * 4, [2e5] * 4, 1_000, 1.02)
        assert 40 <= found.in_control_run_length < 45
        assert not found.signal.any()

    def test_a_fall_is_looked_for_from_below(self) -> None:
        found = charts.poisson_cusum([6] * 4 + [0] * 8, HOURS, 8, ratio=0.5)
        assert found.signal[-1]

    def test_periods_without_hours_leave_the_sum_alone(self) -> None:
        found = charts.poisson_cusum([12, 0, 0], [150_000, 0, 0], 8)
        assert found.statistic[0] == found.statistic[1] == found.statistic[2] > 0

    def test_bad_input_is_refused(self) -> None:
        with pytest.raises(ValueError, match="ratio must differ from 1"):
            charts.poisson_cusum([1], [1e5], 8, ratio=1)
        with pytest.raises(ValueError, match="target_per_200k must"):
            charts.poisson_cusum([1], [1e5], 0)
        with pytest.raises(ValueError, match="hours must be above 0"):
            charts.poisson_cusum([0], [0], 8)
        with pytest.raises(ValueError, match="head_start must be below"):
            cusum.run_length(1, 1.5, 3, 3)
        with pytest.raises(ValueError, match="threshold must be lower"):
            cusum.run_length(1, 1.5, 2_001)


class TestFunnel:
    def test_limits_narrow_with_hours_and_never_go_below_0(self) -> None:
        found = funnel.limits(8, [1e4, 1e5, 1e6, 1e7])
        assert found.lower.shape == (2, 4)
        assert (found.lower >= 0).all()
        assert (np.diff(found.upper, axis=1) < 0).all()
        assert (np.diff(found.lower[:, 2:], axis=1) > 0).all()
        assert (found.upper[1] > found.upper[0]).all()

    def test_widening_never_narrows(self) -> None:
        hours = np.geomspace(1e4, 1e7, 20)
        plain, wide = funnel.limits(8, hours), funnel.limits(8, hours, tau2=1e-6)
        assert (wide.upper >= plain.upper).all()
        assert (wide.lower <= plain.lower).all()

    def test_alike_units_are_not_widened(self) -> None:
        found = funnel.dispersion([4, 5, 6, 3, 5, 4], np.array([100, 110, 130, 90, 105, 95]) * 1e3)
        assert (found.tau2, found.widen) == (0, False)

    def test_ten_units_that_differ_are_widened_nine_are_not(self) -> None:
        events = [5, 40, 8, 30, 12, 45, 3, 38, 9, 33]
        assert funnel.dispersion(events, [2e5] * 10).widen
        assert not funnel.dispersion(events[:9], [2e5] * 9).widen

    def test_bad_input_is_refused(self) -> None:
        with pytest.raises(ValueError, match="rate must"):
            funnel.limits(0, [1e5])
        with pytest.raises(ValueError, match="levels must"):
            funnel.limits(8, [1e5], (95.0,))
        with pytest.raises(ValueError, match="two units"):
            funnel.dispersion([5], [1e5])
        with pytest.raises(ValueError, match="winsorise must"):
            funnel.dispersion([5, 6], [1e5, 1e5], winsorise=0.5)
        with pytest.raises(ValueError, match="target_per_200k must be given"):
            funnel.dispersion([0, 0], [1e5, 1e5])


class TestSeverity:
    def test_one_long_case_is_shown_with_and_without(self) -> None:
        found = severity.compound_rate([3, 0, 12, 180, 5], 400_000)
        assert found.rate_per_200k == 200 * 200_000 / 400_000
        assert (found.cases, found.days, found.longest) == (5, 200, 180)
        assert found.without_longest == 20 * 200_000 / 400_000
        assert found.without_longest_upper < found.upper

    def test_the_seed_makes_the_interval_repeatable(self) -> None:
        days = [3, 0, 12, 180, 5]
        assert severity.compound_rate(days, 4e5) == severity.compound_rate(days, 4e5)
        assert severity.compound_rate(days, 4e5, seed=1) != severity.compound_rate(days, 4e5, seed=2)

    def test_a_hundred_thousand_cases_are_drawn_without_holding_them_all(self) -> None:
        days = np.arange(100_000) % 30
        found = severity.compound_rate(days, 1e9)
        error = math.sqrt(float((days**2).sum())) * 200_000 / 1e9  # variance of a compound Poisson sum
        assert found.upper - found.lower == pytest.approx(2 * 1.96 * error, rel=0.03)

    def test_no_case_says_nothing_about_length(self) -> None:
        found = severity.compound_rate([], 4e5)
        assert (found.rate_per_200k, found.lower, found.upper) == (0, 0, math.inf)

    def test_bad_input_is_refused(self) -> None:
        with pytest.raises(ValueError, match="days must"):
            severity.compound_rate([-1], 4e5)
        with pytest.raises(ValueError, match="draws must"):
            severity.compound_rate([1], 4e5, draws=10)
        with pytest.raises(ValueError, match="hours must"):
            severity.compound_rate([1], 0)


CASE = {"hours_per_year": 4e5, "outlay": 60_000, "yearly_cost": 5_000}


class TestMoney:
    CASE: ClassVar = {"hours_per_year": 4e5, "outlay": 60_000, "yearly_cost": 5_000}
    COST = money.CostPerCase(4_000, 9_000, 16_000)

    def test_cases_avoided_have_the_interval_of_the_difference(self) -> None:
        found = money.budget_case(9, 412_000, 18, 398_500, cost=self.COST, **CASE)
        gap = ratios.rate_difference(9, 412_000, 18, 398_500)
        assert found.cases_avoided_per_year.estimate == pytest.approx(-gap.estimate * 2)
        assert found.cases_avoided_per_year.lower == pytest.approx(-gap.upper * 2)
        assert found.cases_avoided_per_year.upper == pytest.approx(-gap.lower * 2)

    def test_a_saving_is_established_only_when_the_ratio_lies_below_1(self) -> None:
        unsure = money.budget_case(9, 412_000, 18, 398_500, cost=self.COST, **CASE)
        sure = money.budget_case(9, 412_000, 40, 398_500, cost=self.COST, **CASE)
        assert (unsure.is_saving_established, sure.is_saving_established) == (False, True)
        assert unsure.saving_per_year.lower < 0 < unsure.saving_per_year.upper

    def test_a_program_that_made_things_worse_costs_money(self) -> None:
        found = money.budget_case(30, 4e5, 10, 4e5, cost=self.COST, **CASE)
        assert found.cases_avoided_per_year.estimate < 0
        assert found.payback_years == math.inf
        assert all(at.npv.estimate < 0 and at.share_positive < 0.05 for at in found.at_rates)
        assert found.at_rates[0].break_even_cases_per_year == pytest.approx((60_000 / 5 + 5_000) / 9_000)

    def test_indirect_cost_multiplies_the_saving_only_when_asked_for(self) -> None:
        plain = money.budget_case(9, 4e5, 18, 4e5, cost=self.COST, **CASE)
        more = money.budget_case(9, 4e5, 18, 4e5, cost=self.COST, indirect_multiplier=1.1, **CASE)
        assert plain.cost_per_case.estimate == 9_000
        assert more.saving_per_year.estimate == pytest.approx(2.1 * plain.saving_per_year.estimate)

    def test_own_claims_replace_the_three_figures(self) -> None:
        claims = [3_000, 500, 12_000, 90_000, 2_500]
        found = money.budget_case(9, 4e5, 18, 4e5, cost=claims, **CASE)
        assert found.cost_per_case.estimate == pytest.approx(np.mean(claims))
        assert found.cost_per_case.lower < np.mean(claims) < found.cost_per_case.upper

    def test_log_normal_claims_have_the_mean_of_that_curve(self) -> None:
        claims = np.exp(np.random.default_rng(4).normal(8, 1, 200))
        found = money.budget_case(9, 4e5, 18, 4e5, cost=claims, claim_method="log_normal", **CASE)
        logs = np.log(claims)
        assert found.cost_per_case.estimate == pytest.approx(math.exp(logs.mean() + logs.var(ddof=1) / 2))
        error = math.sqrt(logs.var() / 200 + logs.var() ** 2 / 2 / 200)  # Cox's formula, Zhou & Gao 1997
        reach = math.log(found.cost_per_case.upper / found.cost_per_case.lower) / 2
        assert reach == pytest.approx(1.96 * error, rel=0.05)

    def test_the_seed_makes_the_simulation_repeatable(self) -> None:
        runs = [money.budget_case(9, 4e5, 18, 4e5, cost=self.COST, seed=seed, **CASE) for seed in (1, 1, 2)]
        assert runs[0] == runs[1] != runs[2]

    def test_nothing_laid_out_is_paid_back_at_once(self) -> None:
        assert money.payback([0, 5]) == 0
        assert money.payback([-10, 4, 4, 4]) == 2.5
        assert money.payback([-10, 4]) == math.inf

    def test_nothing_spent_has_no_ratio(self) -> None:
        found = money.budget_case(9, 4e5, 18, 4e5, hours_per_year=4e5, cost=self.COST, outlay=0)
        assert math.isnan(found.at_rates[0].benefit_cost_ratio.estimate)

    def test_bad_input_is_refused(self) -> None:
        with pytest.raises(ValueError, match="rate must be above -1"):
            money.npv([1], -1)
        with pytest.raises(ValueError, match="cash_flows must"):
            money.npv([], 0.03)
        with pytest.raises(ValueError, match="low <= base <= high"):
            money.budget_case(9, 4e5, 18, 4e5, cost=money.CostPerCase(9, 4, 16), **CASE)
        with pytest.raises(ValueError, match="two claims or more"):
            money.budget_case(9, 4e5, 18, 4e5, cost=[3_000], **CASE)
        with pytest.raises(ValueError, match="20 claims or more"):
            money.budget_case(9, 4e5, 18, 4e5, cost=[3_000, 4_000], claim_method="log_normal", **CASE)
        with pytest.raises(ValueError, match="years must"):
            money.break_even_cases(1, 1, 1, 0)
        with pytest.raises(ValueError, match="outlay must"):
            money.break_even_cases(-1, 1, 1, 5)
        with pytest.raises(ValueError, match="draws must"):
            money.budget_case(9, 4e5, 18, 4e5, cost=self.COST, draws=1, **CASE)
