"""Fall-backs, notes and refusals of probabilities, power, many units and bounds."""

from __future__ import annotations

import math

import numpy as np
import pytest

from handling_review.stats import (
    bayes,
    bounds,
    multiplicity,
    power,
    ratios,
    shrinkage,
)


class TestBayes:
    def test_equal_data_give_even_odds(self) -> None:
        assert bayes.reduction_probability(3, 1.2e5, 3, 1.2e5, 0) == pytest.approx(0.5, abs=1e-15)

    def test_no_data_leave_the_prior_and_the_hours(self) -> None:
        assert bayes.ratio_quantiles(0, 1e5, 0, 1.2e5, 0.5) == pytest.approx(1.2, rel=1e-12)

    def test_lists_of_probabilities_give_lists(self) -> None:
        found = bayes.ratio_quantiles(9, 4e5, 18, 4e5, [0.1, 0.5, 0.9])
        assert found.shape == (3,)
        assert (np.diff(found) > 0).all()

    def test_a_fall_to_nothing_or_less_is_refused(self) -> None:
        with pytest.raises(ValueError, match="reduction must be below 1"):
            bayes.reduction_probability(1, 1, 1, 1, 1.0)
        with pytest.raises(ValueError, match="probabilities must be between 0 and 1"):
            bayes.ratio_quantiles(1, 1, 1, 1, [0.5, 1.0])
        with pytest.raises(ValueError, match="prior_shape must"):
            bayes.reduction_probability(1, 1, 1, 1, 0.5, prior_shape=0)


class TestPower:
    def test_hours_follow_from_events(self) -> None:
        assert power.hours_needed(5, 0.5) == pytest.approx(power.events_needed(0.5) * 200_000 / 5)

    def test_quarters_still_needed_round_up_and_stop_at_0(self) -> None:
        found = power.quarters_needed(60, 1e6, 2e5, 1e5, 0.5)
        assert found.quarters_still_needed == math.ceil((found.hours_after - 2e5) / 1e5)
        reached = power.power(60, found.hours_after / 1e6, 0.5)
        assert 0.8 <= reached < 0.802
        assert power.power(60, found.hours_after * (1 - 1e-6) / 1e6, 0.5) < 0.8
        assert power.quarters_needed(60, 1e6, 9e6, 1e5, 0.5).quarters_still_needed == 0

    def test_a_short_past_cannot_be_mended_by_any_future(self) -> None:
        found = power.quarters_needed(8, 1e6, 2e5, 1e5, 0.5)
        assert (found.hours_after, found.quarters_still_needed) == (math.inf, math.inf)
        assert power.quarters_needed(0, 1e6, 2e5, 1e5, 0.5).hours_after == math.inf

    def test_too_few_events_show_not_even_a_fall_to_nothing(self) -> None:
        assert math.isnan(power.smallest_detectable(5))

    def test_hundreds_of_thousands_of_events_are_still_enumerated(self) -> None:
        z = -math.log(0.99) / math.sqrt(1 / 3e5 + 1 / 2.97e5) - 1.959963984540054
        by_normal_curve = math.erfc(-z / math.sqrt(2)) / 2
        assert power.power(3e5, 1.0, 0.99) == pytest.approx(by_normal_curve, abs=1e-3)

    def test_impossible_questions_are_refused(self) -> None:
        with pytest.raises(ValueError, match="ratio must differ from 1"):
            power.events_needed(1.0)
        with pytest.raises(ValueError, match="farther from 1"):
            power.events_needed(0.9999)
        with pytest.raises(ValueError, match="power_wanted must be above alpha"):
            power.events_needed(0.5, power_wanted=0.01)
        with pytest.raises(ValueError, match="expected_events0 must"):
            power.power(0, 1, 0.5)
        with pytest.raises(ValueError, match="ratio must differ from 1"):
            power.quarters_needed(10, 1e6, 0, 1e5, 1.0)


class TestManyUnits:
    def test_missing_p_values_do_not_count_as_tests(self) -> None:
        found = multiplicity.benjamini_hochberg([0.01, math.nan, 0.04, 0.2])
        assert found[[0, 2, 3]] == pytest.approx([0.03, 0.06, 0.2])
        assert math.isnan(found[1])

    def test_no_p_values_give_none(self) -> None:
        assert multiplicity.benjamini_hochberg([]).size == 0

    def test_equal_rates_are_homogeneous(self) -> None:
        found = multiplicity.homogeneity([2, 4, 6], [1e5, 2e5, 3e5])
        assert (round(found.pearson, 12), found.df, found.p_pearson) == (0, 2, 1)
        assert multiplicity.homogeneity([0, 0], [1e5, 1e5]).p_deviance == 1
        assert multiplicity.homogeneity([5], [1e5]).df == 0

    def test_p_values_outside_0_to_1_and_lone_units_are_refused(self) -> None:
        with pytest.raises(ValueError, match="between 0 and 1"):
            multiplicity.benjamini_hochberg([0.5, 1.5])
        with pytest.raises(ValueError, match="two units"):
            multiplicity.against_rest([5], [1e5])
        with pytest.raises(ValueError, match="two units"):
            shrinkage.gamma_poisson([5], [1e5])

    @pytest.mark.parametrize("method", shrinkage.METHODS)
    def test_units_alike_are_drawn_all_the_way(self, method: str) -> None:
        found = shrinkage.gamma_poisson([4, 5, 6, 3, 5, 4], np.array([100, 110, 130, 90, 105, 95]) * 1e3, method)
        overall = 27 * 200_000 / 630_000
        assert math.isinf(found.prior.shape)
        assert found.mean == pytest.approx(np.full(6, overall))
        assert found.weight_on_prior.tolist() == [1] * 6
        assert "do not differ beyond chance" in found.prior.notes[0]
        assert found.worst_quarter == pytest.approx(np.full(6, 2 / 6))

    @pytest.mark.parametrize("method", shrinkage.METHODS)
    def test_no_event_anywhere_is_a_rate_of_0(self, method: str) -> None:
        found = shrinkage.gamma_poisson([0, 0, 0], [1e5, 2e5, 3e5], method)
        assert found.mean.tolist() == [0, 0, 0]

    def test_the_chosen_bad_units_are_expected_to_fall(self) -> None:
        events, hours = [30, 4, 6, 9, 2, 12], [1e5] * 6
        found = shrinkage.regression_to_mean(events, hours, [1, 0, 0, 0, 0, 0])
        assert found.observed_per_200k == 60
        assert found.expected_per_200k < 60
        assert found.ratio == found.expected_per_200k / found.observed_per_200k
        with pytest.raises(ValueError, match="chosen must mark"):
            shrinkage.regression_to_mean(events, hours, [0] * 6)


def test_bounds_count_unclear_records_for_and_against() -> None:
    found = bounds.ratio_bounds(9, 4e5, 18, 4e5, 2, 3)
    assert found.as_classified == ratios.rate_ratio(9, 4e5, 18, 4e5)
    assert found.all_counted.estimate == 11 / 21
    assert found.most_favourable.estimate == pytest.approx(9 / 21)
    assert found.least_favourable.estimate == pytest.approx(11 / 18)
    with pytest.raises(ValueError, match="unclear1 must"):
        bounds.ratio_bounds(9, 4e5, 18, 4e5, -1, 0)
