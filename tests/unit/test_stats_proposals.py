"""Proposals and what the program has been worth: properties, exact sets, and draws with known answers."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from handling_review.stats import money, proposals, ratios, worth
from handling_review.stats.money import CostPerCase, Range
from handling_review.stats.proposals import Reduction

COST = CostPerCase(3_000, 8_000, 16_000)


def judged(**changes: object) -> proposals.ProposalCase:
    values: dict[str, object] = {
        "addressed": Range(1.5, 0.8, 2.5), "reduction": Reduction(0.1, 0.3, 0.5), "cost": COST, "outlay": 20_000.0,
        "yearly_cost": 500.0, "years": 10,
    }  # fmt: skip
    return proposals.judge(**{**values, **changes})  # type: ignore[arg-type]


def test_break_even_times_cost_is_what_it_costs_a_year() -> None:
    for at in judged().at_rates:
        annuity = sum((1 + at.rate) ** -year for year in range(1, 11))
        assert at.break_even_cases_per_year * 8_000 == pytest.approx(20_000 / annuity + 500)


def test_present_value_falls_with_the_rate_and_base_lies_between_low_and_high() -> None:
    rates = judged().at_rates
    values = [at.npv.estimate for at in rates]
    assert values == sorted(values, reverse=True)
    for at in rates:
        assert at.low <= at.npv.estimate <= at.high
        assert at.npv.lower <= at.npv.upper
        assert 0 <= at.share_positive <= 1


def test_an_effect_of_nothing_loses_the_outlay_and_the_service() -> None:
    found = judged(reduction=Reduction(0.0, 0.0, 0.0))
    assert found.at_rates[0].npv.estimate == -20_000 - 10 * 500
    assert math.isinf(found.payback_years)
    assert found.at_rates[0].share_positive == 0


def test_the_widest_lever_comes_first_and_each_passes_through_the_base() -> None:
    found = judged()
    widths = [lever.width for lever in found.levers]
    assert widths == sorted(widths, reverse=True)
    base = next(at.npv.estimate for at in found.at_rates if at.rate == found.lever_rate)
    for lever in found.levers:
        assert lever.at_low <= base <= lever.at_high


def test_draws_of_cases_have_the_mean_and_about_the_limits_given() -> None:
    """With a sure effect and cost the cases avoided are the cases drawn: a gamma distribution."""
    found = judged(reduction=Reduction(1.0, 1.0, 1.0), cost=CostPerCase(1, 1, 1), addressed=Range(10.0, 5.0, 16.0))
    avoided = found.cases_avoided_per_year
    assert avoided.estimate == 10
    sd = (16 - 5) / (2 * 1.959964)
    from scipy import stats

    reference = stats.gamma((10 / sd) ** 2, scale=sd**2 / 10)
    assert avoided.lower == pytest.approx(reference.ppf(0.025), abs=0.15)
    assert avoided.upper == pytest.approx(reference.ppf(0.975), abs=0.25)


def test_own_claims_stand_for_the_cost_and_the_same_seed_gives_the_same_answer() -> None:
    claims = [2_000.0, 3_000.0, 4_000.0, 30_000.0, 5_000.0]
    first, second = judged(cost=claims), judged(cost=claims)
    assert first == second
    assert first.saving_per_year.estimate == pytest.approx(1.5 * 0.3 * np.mean(claims))


def test_indirect_costs_multiply_the_saving() -> None:
    assert judged(indirect_multiplier=1.0).saving_per_year.estimate == 2 * judged().saving_per_year.estimate


@pytest.mark.parametrize(
    "changes",
    [
        {"addressed": Range(1.0, 2.0, 3.0)}, {"addressed": Range(1.0, -1.0, 3.0)}, {"reduction": Reduction(0.5, 0.3,
        0.6)},
        {"reduction": Reduction(0.1, 0.3, 1.2)}, {"outlay": -1.0}, {"years": 0}, {"draws": 10}, {"confidence": 1.5},
        {"cost": [5.0]}, {"cost": CostPerCase(5, 4, 6)}, {"indirect_multiplier": -1},
    ],
)  # fmt: skip
def test_values_out_of_range_are_refused(changes: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"."):
        judged(**changes)


@given(
    some.lists(some.tuples(some.integers(0, 30), some.integers(-10, 30)), min_size=1, max_size=8),
    some.integers(0, 80),
)
def test_the_best_set_is_that_of_trying_every_one(items: list[tuple[int, int]], budget: int) -> None:
    outlays, gains = [float(o) for o, _ in items], [float(g) for _, g in items]
    found = proposals.best_sets(outlays, gains, float(budget))
    every = [
        (sum(gains[i] for i in chosen), chosen)
        for size in range(len(items) + 1)
        for chosen in itertools.combinations(range(len(items)), size)
        if sum(outlays[i] for i in chosen) <= budget
    ]
    best = max(total for total, _ in every)
    assert found.total == best
    for chosen in found.chosen:
        assert sum(gains[i] for i in chosen) == best
        assert sum(outlays[i] for i in chosen) <= budget
        assert all(gains[i] > 0 for i in chosen)
    equal = {chosen for total, chosen in every if total == best and all(gains[i] > 0 for i in chosen)}
    assert set(found.chosen) == equal
    assert found.outlay == min(sum(outlays[i] for i in chosen) for chosen in equal)


def test_twenty_proposals_are_compared_and_twenty_one_refused() -> None:
    dice = np.random.default_rng(4)
    outlays, gains = dice.uniform(1, 9, 20), dice.uniform(0.1, 1, 20)
    found = proposals.best_sets(outlays, gains, 25.0)
    assert found.outlay <= 25
    with pytest.raises(ValueError, match="at most 20"):
        proposals.best_sets(np.ones(21), np.ones(21), 5.0)


def test_nothing_fits_a_budget_of_nothing() -> None:
    assert proposals.best_sets([5.0, 6.0], [1.0, 1.0], 0.0).chosen == ((),)


def test_worth_by_a_ratio_is_the_cases_that_would_have_been() -> None:
    found = worth.worth(20, Range(0.5, 0.25, 0.8), CostPerCase(1_000, 1_000, 1_000), 5_000)
    assert found.cases_avoided == Range(20, 20 * (1 / 0.8 - 1), 20 * (1 / 0.25 - 1))
    assert found.saving.estimate == 20_000
    assert found.net.estimate == 15_000
    assert found.is_saving_established
    # the limits of the draws are those of the ratio, since the cost is sure
    sd = math.log(0.8 / 0.25) / (2 * 1.959964)
    assert found.saving.lower == pytest.approx(20_000 * (1 / (0.5 * math.exp(1.959964 * sd)) - 1), abs=400)


def test_a_harmful_program_has_a_loss() -> None:
    found = worth.worth(28, Range(1.4, 1.05, 1.9), COST, 1_000)
    assert found.cases_avoided.estimate == pytest.approx(28 * (1 / 1.4 - 1))
    assert found.saving.upper < 0
    assert found.share_positive < 0.02
    assert not found.is_saving_established


def test_worth_of_rates_holds_without_a_case_after() -> None:
    found = worth.worth_of_rates(0, 200_000, 12, 200_000, CostPerCase(1_000, 1_000, 1_000), 0)
    reference = ratios.cases_avoided(0, 200_000, 12, 200_000)
    assert found.cases_avoided == Range(reference.estimate, reference.lower, reference.upper)
    assert found.saving.estimate == 12_000
    assert 0 < found.saving.lower < found.saving.upper
    assert found.is_saving_established


def test_worth_of_rates_is_the_budget_case_on_the_same_hours() -> None:
    """The same draws as ``money.budget_case`` over one year without discounting and without an outlay."""
    one = worth.worth_of_rates(10, 300_000, 20, 300_000, COST, 0, draws=10_000, seed=7)
    two = money.budget_case(
        10, 300_000, 20, 300_000, hours_per_year=300_000, cost=COST, outlay=0, years=1, draws=10_000, seed=7
    )
    assert one.saving == two.saving_per_year
    assert one.cases_avoided == two.cases_avoided_per_year


@pytest.mark.parametrize("ratio", [Range(0.5, 0.6, 0.8), Range(0.0, 0.0, 0.5), Range(0.5, 0.2, math.inf)])
def test_a_ratio_that_cannot_be_is_refused(ratio: Range) -> None:
    with pytest.raises(ValueError, match="ratio"):
        worth.worth(5, ratio, COST, 0)


def test_claims_drawn_again_are_those_of_a_generator_that_kept_nothing() -> None:
    claims = np.array([1200.0, 3400.0, 50.0, 9100.0])
    for _ in range(2):  # the second time they are taken from what is kept
        kept = np.random.default_rng(7)
        plain = np.random.default_rng(7)
        _, first = money.cost_draws(claims, 500, kept)
        _, second = money.cost_draws(claims, 500, kept)
        for drawn in (first, second):
            counts = plain.multinomial(4, np.full(4, 1 / 4), 500)
            np.testing.assert_array_equal(drawn, counts @ claims / 4)
        assert kept.random() == plain.random()
