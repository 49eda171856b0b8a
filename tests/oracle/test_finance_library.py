"""Net present value, payback and annuities against numpy-financial, and handbook formulas."""

from __future__ import annotations

import math

import numpy as np
import numpy_financial as npf
import pytest

from handling_review.stats import money, proposals
from handling_review.stats.money import CostPerCase, Range

RATES = (0.0, 0.03, 0.05, 0.07, 0.10)


@pytest.mark.parametrize("seed", range(20))
def test_present_value_is_that_of_the_library(seed: int) -> None:
    dice = np.random.default_rng(seed)
    flows = [-float(dice.integers(1_000, 200_000)), *dice.normal(9_000, 6_000, int(dice.integers(1, 20))).tolist()]
    for rate in RATES:
        assert money.npv(flows, rate) == pytest.approx(npf.npv(rate, flows), rel=1e-12, abs=1e-6)


@pytest.mark.parametrize("seed", range(10))
def test_the_rate_at_which_nothing_is_gained_is_the_internal_rate_of_return(seed: int) -> None:
    dice = np.random.default_rng(seed)
    flows = [-50_000.0, *([float(dice.integers(6_000, 20_000))] * int(dice.integers(8, 15)))]
    rate = float(npf.irr(flows))
    assert money.npv(flows, rate) == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("rate", RATES[1:])
@pytest.mark.parametrize("years", [1, 5, 10, 25])
def test_break_even_spreads_the_outlay_as_a_loan_payment_does(rate: float, years: int) -> None:
    """What pays for itself costs each year what a loan over its life would (numpy-financial ``pmt``)."""
    found = money.break_even_cases(30_000, 1_200, 8_000, years, rate)
    assert found * 8_000 == pytest.approx(-npf.pmt(rate, years, 30_000) + 1_200, rel=1e-12)


@pytest.mark.parametrize("rate", RATES)
def test_a_proposal_without_doubt_is_the_plain_formula(rate: float) -> None:
    judged = proposals.judge(
        Range(2.0, 2.0, 2.0), proposals.Reduction(0.5, 0.5, 0.5), CostPerCase(9_000, 9_000, 9_000), 40_000,
        yearly_cost=1_000, years=8, rates=(rate,), draws=100,
    )  # fmt: skip
    flows = [-40_000.0] + [2 * 0.5 * 9_000 - 1_000] * 8
    at = judged.at_rates[0]
    assert at.npv.estimate == pytest.approx(npf.npv(rate, flows))
    assert at.npv.lower == pytest.approx(at.npv.estimate)
    assert at.npv.upper == pytest.approx(at.npv.estimate)
    assert at.low == at.high == pytest.approx(at.npv.estimate)
    benefit = -npf.pv(rate, 8, 9_000) if rate else 72_000.0
    cost = 40_000 + (-npf.pv(rate, 8, 1_000) if rate else 8_000.0)
    assert at.benefit_cost_ratio.estimate == pytest.approx(benefit / cost)
    assert judged.payback_years == pytest.approx(40_000 / 8_000)
    assert at.share_positive == (1.0 if npf.npv(rate, flows) > 0 else 0.0)
    if not math.isinf(at.discounted_payback_years) and rate:
        assert at.discounted_payback_years >= judged.payback_years
