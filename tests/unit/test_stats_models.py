"""Fall-backs, notes and refusals of strata, controls, models, series and trends."""

from __future__ import annotations

import math

import numpy as np
import pytest

from handling_review.stats import (
    casemix,
    groups,
    models,
    ratios,
    series,
    strata,
    trend,
)

FOUR = ([2, 1, 4, 3], [38_000, 21_500, 77_000, 60_250], [5, 3, 6, 9], [36_500, 22_400, 75_500, 58_000])


class TestStrata:
    def test_enough_events_keep_mantel_haenszel(self) -> None:
        assert strata.common_ratio(*FOUR) == strata.mantel_haenszel(*FOUR)
        assert strata.common_ratio(*FOUR).method == "mantel_haenszel"

    def test_few_events_bring_the_exact_ratio_and_a_note(self) -> None:
        data = ([1, 2], [1e5, 1e5], [4, 6], [1e5, 1e5])
        found = strata.common_ratio(*data)
        assert found.method == "mid_p"
        assert found.upper == strata.exact_common_ratio(*data).upper
        assert "fewer than 5 events" in found.notes[-1]

    def test_no_event_after_brings_the_exact_limit(self) -> None:
        data = ([0, 0], [1e5, 1e5], [4, 6], [1e5, 1e5])
        found = strata.mantel_haenszel(*data)
        assert (found.estimate, found.lower, found.method) == (0, 0, "mid_p")
        assert found.upper == pytest.approx(ratios.rate_ratio(0, 1, 10, 1).upper, rel=1e-9)
        assert math.isnan(found.homogeneity_p)
        assert "no Mantel-Haenszel interval" in found.notes[-1]

    def test_no_event_before_gives_an_infinite_ratio(self) -> None:
        found = strata.exact_common_ratio([4, 6], [1e5, 1e5], [0, 0], [1e5, 1e5])
        assert (found.estimate, found.upper) == (math.inf, math.inf)
        assert found.lower == pytest.approx(ratios.rate_ratio(10, 1, 0, 1).lower, rel=1e-9)

    def test_no_event_at_all_tells_nothing(self) -> None:
        found = strata.common_ratio([0, 0], [1e5, 1e5], [0, 0], [1e5, 1e5])
        assert math.isnan(found.estimate)
        assert (found.lower, found.upper, found.p_value, found.strata_used) == (0, math.inf, 1, 0)

    def test_a_stratum_with_hours_in_one_phase_only_is_left_out_and_named(self) -> None:
        y1, t1, y0, t0 = FOUR
        found = strata.mantel_haenszel([*y1, 7], [*t1, 5e4], [*y0, 0], [*t0, 0])
        assert found.estimate == strata.mantel_haenszel(*FOUR).estimate
        assert found.notes == ("1 strata without hours in both groups left out",)

    def test_nothing_in_common_is_said(self) -> None:
        found = strata.common_ratio([1, 0], [1e5, 0], [0, 2], [0, 1e5])
        assert math.isnan(found.estimate)
        assert found.notes == ("no stratum has hours in both groups: nothing can be compared",)
        gap = strata.mantel_haenszel_difference([1, 0], [1e5, 0], [0, 2], [0, 1e5])
        assert math.isnan(gap.estimate)

    def test_opposite_strata_are_seen_by_the_homogeneity_test(self) -> None:
        found = strata.mantel_haenszel([20, 2], [1e5, 1e5], [2, 20], [1e5, 1e5])
        assert found.estimate == pytest.approx(1)
        assert found.homogeneity_df == 1
        assert found.homogeneity_p < 1e-6

    def test_million_counts_keep_their_digits(self) -> None:
        found = strata.exact_common_ratio([400_000, 600_000], [4e8, 6e8], [450_000, 551_000], [4e8, 6e8])
        rough = 1.959963984540054 * math.sqrt(1 / 1e6 + 1 / 1.001e6)
        assert math.log(found.upper / found.lower) / 2 == pytest.approx(rough, rel=0.01)

    def test_events_without_hours_are_refused(self) -> None:
        with pytest.raises(ValueError, match="hours must be above 0 wherever there are events"):
            strata.mantel_haenszel([1], [0], [1], [1e5])


class TestControls:
    def test_hours_that_double_in_both_groups_cancel(self) -> None:
        plain = casemix.ratio_of_ratios(9, 18, 20, 25)
        both = groups.difference_in_differences(9, 2e5, 18, 1e5, 20, 4e5, 25, 2e5)
        assert both.estimate == pytest.approx(plain.estimate)
        assert both.upper == pytest.approx(plain.upper)
        assert both.p_value == pytest.approx(plain.p_value)

    def test_the_null_moves_with_the_hours(self) -> None:
        eight = (10, 1e5, 20, 3e5, 10, 2e5, 10, 1e5)
        found = groups.difference_in_differences(*eight)
        at_limit = groups.difference_in_differences(*eight, null=found.upper)
        assert at_limit.p_value == pytest.approx(0.05, abs=1e-9)

    @pytest.mark.parametrize("table", [(0, 0, 5, 6), (5, 6, 0, 0), (0, 4, 0, 6), (4, 0, 6, 0), (0, 0, 0, 0)])
    def test_an_empty_margin_tells_nothing(self, table: tuple[int, int, int, int]) -> None:
        found = casemix.ratio_of_ratios(*table)
        assert math.isnan(found.estimate)
        assert (found.lower, found.upper, found.p_value) == (0, math.inf, 1)

    def test_zero_cells_leave_one_limit_open(self) -> None:
        none_after = casemix.ratio_of_ratios(0, 7, 5, 5)
        assert (none_after.estimate, none_after.lower) == (0, 0)
        assert 0 < none_after.upper < math.inf
        none_before = casemix.ratio_of_ratios(7, 0, 5, 5)
        assert none_before.estimate == none_before.upper == math.inf
        assert none_before.lower > 0

    def test_negative_counts_and_no_hours_are_refused(self) -> None:
        with pytest.raises(ValueError, match="control1 must"):
            casemix.ratio_of_ratios(1, 2, -3, 4)
        with pytest.raises(ValueError, match="control_hours0 must"):
            groups.difference_in_differences(1, 1, 1, 1, 1, 1, 1, 0)


def _staggered(factor: float, scale: float = 1.0) -> dict[str, list[float]]:
    """8 units x 12 quarters with rates that follow the model exactly up to rounding."""
    rows: dict[str, list[float]] = {"events": [], "hours": [], "exposed": [], "unit": [], "quarter": []}
    for unit in range(8):
        for quarter in range(12):
            on = float(quarter >= 3 + unit // 2)
            rows["events"].append(round(scale * (6 + unit) * (1 - 0.02 * quarter) * factor**on))
            rows["hours"].append(50_000.0)
            rows["exposed"].append(on)
            rows["unit"].append(unit)
            rows["quarter"].append(quarter)
    return rows


class TestModels:
    def test_unit_and_quarter_effects_give_back_the_true_ratio(self) -> None:
        rows = _staggered(0.7, 1000)
        found = models.poisson_ratio(
            rows["events"],
            rows["hours"],
            rows["exposed"],
            factors={"unit": rows["unit"], "quarter": rows["quarter"]},
        )
        assert found.estimate == pytest.approx(0.7, rel=1e-3)
        assert found.method == "quasi_poisson"
        assert found.n_parameters == 1 + 7 + 11 + 1
        assert found.notes == ()

    def test_quasi_errors_are_never_narrower_than_poisson(self) -> None:
        rows = _staggered(0.7, 30)  # smoother than chance: dispersion far below 1
        data = (rows["events"], rows["hours"], rows["exposed"])
        plain = models.poisson_ratio(*data, factors={"unit": rows["unit"]}, method="poisson")
        quasi = models.poisson_ratio(*data, factors={"unit": rows["unit"]})
        assert quasi.dispersion < 0.5
        assert quasi.standard_error == pytest.approx(plain.standard_error)

    def test_too_few_events_for_the_parameters_are_compared_within_strata(self) -> None:
        y1, t1, y0, t0 = FOUR
        found = models.poisson_ratio([*y1, *y0], [*t1, *t0], [1] * 4 + [0] * 4, factors={"unit": list("ABCDABCD")})
        assert found.method == "mantel_haenszel"
        assert found.estimate == pytest.approx(strata.mantel_haenszel(*FOUR).estimate)
        assert found.upper == pytest.approx(strata.mantel_haenszel(*FOUR).upper)
        assert "33 events for 5 parameters" in found.notes[0]
        assert found.n_parameters == 5

    def test_no_event_after_is_no_model_but_an_exact_limit(self) -> None:
        found = models.poisson_ratio([0, 0, 40, 60], [1e5] * 4, [1, 1, 0, 0], factors={"unit": ["A", "B", "A", "B"]})
        assert (found.estimate, found.method) == (0, "mid_p")
        assert 0 < found.upper < 0.1
        assert "no event on one side" in found.notes[0]

    def test_the_fall_back_says_what_it_did_not_adjust_for(self) -> None:
        found = models.poisson_ratio([2, 3, 4, 5], [1e5] * 4, [1, 1, 0, 0], covariates={"years": [0.0, 1.0, 0.0, 1.0]})
        assert "not adjusted for years" in found.notes

    def test_few_clusters_bring_quasi_poisson_and_a_note(self) -> None:
        rows = _staggered(0.7, 30)
        data = (rows["events"], rows["hours"], rows["exposed"])
        found = models.poisson_ratio(*data, clusters=rows["unit"], method="cluster")
        assert found.method == "quasi_poisson"
        assert found.standard_error == models.poisson_ratio(*data).standard_error
        assert "8 clusters are fewer than 40" in found.notes[0]
        kept = models.poisson_ratio(*data, clusters=rows["unit"], method="cluster", fewest_clusters=8)
        assert kept.method == "cluster"

    def test_no_extra_variance_is_no_negative_binomial(self) -> None:
        rows = _staggered(0.7, 30)
        found = models.poisson_ratio(
            rows["events"], rows["hours"], rows["exposed"], factors={"unit": rows["unit"]}, method="negative_binomial"
        )
        assert found.method == "quasi_poisson"
        assert found.alpha == 0
        assert "no variance beyond Poisson's" in found.notes[0]

    def test_an_exposure_that_is_calendar_time_cannot_be_told_apart(self) -> None:
        quarter = [1, 2, 3, 4] * 2
        found = models.poisson_ratio([50] * 8, [1e5] * 8, [float(q > 2) for q in quarter], factors={"quarter": quarter})
        assert found.method == "not_estimable"
        assert math.isnan(found.estimate)
        assert (found.lower, found.upper) == (0, math.inf)
        assert "cannot be told apart" in found.notes[-1]

    def test_columns_that_repeat_each_other_are_counted_once(self) -> None:
        rows = _staggered(0.7, 30)
        data = (rows["events"], rows["hours"], rows["exposed"])
        once = models.poisson_ratio(*data, factors={"unit": rows["unit"]})
        twice = models.poisson_ratio(*data, factors={"unit": rows["unit"], "ward": rows["unit"]})
        assert twice.n_parameters == once.n_parameters
        assert twice.estimate == pytest.approx(once.estimate, rel=1e-9)

    def test_units_without_events_and_rows_without_hours_are_left_out(self) -> None:
        rows = _staggered(0.7, 30)
        data = [rows[name] for name in ("events", "hours", "exposed", "unit")]
        more = [[*data[0], 0, 0, 0], [*data[1], 5e4, 5e4, 0], [*data[2], 0, 1, 1], [*data[3], 99, 99, 1]]
        found = models.poisson_ratio(*more[:3], factors={"unit": more[3]})
        plain = models.poisson_ratio(*data[:3], factors={"unit": data[3]})
        assert found.estimate == pytest.approx(plain.estimate, rel=1e-9)
        assert found.notes == (
            "1 rows without hours left out",
            "2 rows of units or times without any event left out",
        )

    def test_a_share_of_exposed_hours_is_allowed(self) -> None:
        share = np.linspace(0, 1, 11)
        hours = np.full(11, 1e6)
        events = np.round(hours * 20 / 2e5 * np.exp(share * math.log(0.5)) * 100)
        found = models.poisson_ratio(events, hours, share)
        assert found.estimate == pytest.approx(0.5, rel=1e-3)
        few = models.poisson_ratio([2, 1, 1], [1e5] * 3, [0, 0.5, 1])
        assert few.method == "quasi_poisson"
        assert "4 events for 2 parameters" in few.notes[0]

    def test_bad_input_is_refused(self) -> None:
        with pytest.raises(ValueError, match="exposed must be between 0 and 1"):
            models.poisson_ratio([1, 2], [1e5, 1e5], [0, 2])
        with pytest.raises(ValueError, match="unit must have one entry per row"):
            models.poisson_ratio([1, 2], [1e5, 1e5], [0, 1], factors={"unit": ["A"]})
        with pytest.raises(ValueError, match="clusters must be given"):
            models.poisson_ratio([1, 2], [1e5, 1e5], [0, 1], method="cluster")
        with pytest.raises(ValueError, match="method must be one of"):
            models.poisson_ratio([1, 2], [1e5, 1e5], [0, 1], method="ols")
        with pytest.raises(ValueError, match="wherever there are events"):
            models.poisson_ratio([1, 2], [1e5, 0], [0, 1])
        with pytest.raises(ValueError, match="at least one row"):
            models.poisson_ratio([0, 0], [0, 0], [0, 1])


class TestSeries:
    def test_a_step_without_noise_is_given_back(self) -> None:
        hours = np.full(24, 1e7)
        years = (np.arange(24) + 0.5 - 12) / 12
        rate = 10 * np.exp(-0.1 * years) * np.where(years > 0, 0.6 * np.exp(0.05 * years), 1)
        found = series.interrupted(np.round(rate * hours / 2e5), hours, 12, 12, harmonics=0)
        assert found.level.estimate == pytest.approx(0.6, rel=0.01)
        assert found.before_per_year.estimate == pytest.approx(math.exp(-0.1), rel=0.01)
        assert found.slope.estimate == pytest.approx(math.exp(0.05), rel=0.05)
        assert found.counterfactual_per_200k[-1] == pytest.approx(10 * math.exp(-0.1 * years[-1]), rel=0.02)
        assert found.fitted_per_200k == pytest.approx(rate, rel=0.01)
        assert (found.counterfactual_lower < found.counterfactual_per_200k).all()
        assert (found.counterfactual_per_200k < found.counterfactual_upper).all()

    def test_seasons_enter_from_24_months_with_events_enough(self) -> None:
        many, few = np.full(24, 50), np.full(24, 1)
        hours = np.full(24, 1e5)
        assert series.interrupted(many, hours, 12).harmonics == 2
        assert series.interrupted(many[:23], hours[:23], 12).harmonics == 0
        scarce = series.interrupted(few, hours, 12)
        assert scarce.harmonics == 0
        assert "too few events for seasonal terms" in scarce.notes
        assert series.interrupted(many[:8], hours[:8], 4, 4).harmonics == 1

    def test_periods_without_hours_do_not_enter_but_have_a_fitted_rate(self) -> None:
        hours = np.full(20, 1e5)
        hours[4] = 0
        events = np.full(20, 9)
        events[4] = 0
        found = series.interrupted(events, hours, 10, 12)
        assert found.fitted_per_200k[4] == pytest.approx(18, rel=1e-6)
        assert "1 periods without hours left out" in found.notes

    def test_no_event_after_the_start_has_no_line(self) -> None:
        found = series.interrupted([5, 6, 4, 5, 0, 0, 0, 0], [1e5] * 8, 4, 4)
        assert math.isnan(found.level.estimate)
        assert (found.level.lower, found.level.upper, found.level.p_value) == (0, math.inf, 1)
        assert np.isnan(found.fitted_per_200k).all()
        assert found.notes[-1] == "no event on one side"

    def test_short_sides_are_named(self) -> None:
        found = series.interrupted([5] * 8, [1e5] * 8, 4, 4)
        assert "only 4 periods before and 4 after" in found.notes[0]

    @pytest.mark.parametrize("start", [0, 2, 6, 8, -3])
    def test_a_start_too_near_an_end_is_refused(self, start: int) -> None:
        with pytest.raises(ValueError, match="start must leave 3 periods"):
            series.interrupted([5] * 8, [1e5] * 8, start, 4)

    def test_bad_settings_are_refused(self) -> None:
        with pytest.raises(ValueError, match="periods_per_year must be 4 or 12"):
            series.interrupted([5] * 8, [1e5] * 8, 4, 52)
        with pytest.raises(ValueError, match="harmonics must be 0 to 1"):
            series.interrupted([5] * 8, [1e5] * 8, 4, 4, harmonics=2)
        with pytest.raises(ValueError, match="method must be one of"):
            series.interrupted([5] * 8, [1e5] * 8, 4, 4, method="arima")
        with pytest.raises(ValueError, match="wherever there are events"):
            series.interrupted([5] * 8, [0, *[1e5] * 7], 4, 4)


class TestTrend:
    def test_a_steady_fall_is_given_back_per_year(self) -> None:
        years = np.arange(12) / 4
        found = trend.annual_change(np.round(1e5 * 0.9**years), np.full(12, 1e9), years)
        assert found.percent == pytest.approx(-10, abs=0.01)
        assert found.lower < found.percent < found.upper < 0

    def test_no_event_and_events_at_one_end_have_no_slope(self) -> None:
        none = trend.annual_change([0, 0, 0], [1e5] * 3, [0, 1, 2])
        assert math.isnan(none.percent)
        assert (none.lower, none.upper) == (-100, math.inf)
        last = trend.annual_change([0, 0, 0, 9], [1e5] * 4, [0, 1, 2, 3])
        assert last.p_value == 1 or last.upper > 1000

    def test_periods_without_hours_are_left_out(self) -> None:
        found = trend.annual_change([5, 0, 5, 5], [1e5, 0, 1e5, 1e5], [0, 1, 2, 3])
        assert found.percent == pytest.approx(0, abs=1e-6)
        assert found.notes == ("1 periods without hours left out",)

    def test_two_periods_are_refused(self) -> None:
        with pytest.raises(ValueError, match="3 periods"):
            trend.annual_change([5, 6], [1e5, 1e5], [0, 1])
        with pytest.raises(ValueError, match="more than one time"):
            trend.annual_change([5, 6, 7], [1e5] * 3, [1, 1, 1])

    def test_bands_that_fall_by_half_each_step_are_given_back(self) -> None:
        found = trend.across_bands([4000, 2000, 1000, 500], [1e5] * 4)
        assert found.estimate == pytest.approx(0.5, rel=1e-9)
        assert found.p_value < 1e-100

    def test_a_band_without_hours_keeps_its_place(self) -> None:
        found = trend.across_bands([4000, 0, 1000], [1e5, 0, 1e5])
        assert found.estimate == pytest.approx(0.5, rel=1e-9)

    def test_bands_without_events_tell_nothing_and_ends_leave_one_limit_open(self) -> None:
        nothing = trend.across_bands([0, 0, 0], [1e5] * 3)
        assert math.isnan(nothing.estimate)
        assert nothing.p_value == 1
        first = trend.across_bands([8, 0, 0], [1e5] * 3)
        assert (first.estimate, first.lower) == (0, 0)
        assert first.upper < 1

    def test_one_band_is_refused(self) -> None:
        with pytest.raises(ValueError, match="two bands"):
            trend.across_bands([3, 0], [1e5, 0])
