"""What the program costs and what the cases avoided are worth, with the doubt carried through."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from handling_review.stats import _inputs, ratios
from handling_review.stats._inputs import BASE_HOURS, Array, Values

RATES = (0.0, 0.03, 0.05, 0.07, 0.10)  # 3 and 7 % public-sector convention, 5-10 % common in hospitals
CLAIM_METHODS = ("bootstrap", "log_normal")
DRAWS = 10_000
FEWEST_CLAIMS_LOG_NORMAL = 20  # with five the upper limit of the mean came out a million times the mean
_SEED = 20_100_408
_MOST_KEPT = 16  # of 160 kB each with 20,000 draws
_KEPT: dict[tuple[bytes, int, str], tuple[Array, Mapping[str, Any]]] = {}


@dataclass(frozen=True)
class CostPerCase:
    """What one case costs, in money: a low, a likely and a high figure."""

    low: float
    base: float
    high: float


@dataclass(frozen=True)
class Range:
    """An estimate with the limits between which most of the simulation fell."""

    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True)
class AtRate:
    """The purchase judged at one yearly discount rate.

    Attributes:
        rate: 0.03 for 3 % a year.
        npv: present value of savings minus all costs.
        benefit_cost_ratio: present value of savings over that of all costs.
        discounted_payback_years: ``inf`` if not within the horizon; from the estimates.
        share_positive: share of the simulation with an NPV above 0.
        break_even_cases_per_year: cases a year that must be avoided for an NPV of 0, whatever did happen.
    """

    rate: float
    npv: Range
    benefit_cost_ratio: Range
    discounted_payback_years: float
    share_positive: float
    break_even_cases_per_year: float


@dataclass(frozen=True)
class BudgetCase:
    """The purchase seen by the people who pay for it.

    Attributes:
        cases_avoided_per_year: from the two rates, on the hours of a coming year; negative values included.
        cost_per_case: used for each case, indirect costs included if a multiplier was set.
        saving_per_year: cases avoided times cost, before yearly costs.
        payback_years: simple, ``inf`` if not within the horizon.
        at_rates: one entry per discount rate.
        is_saving_established: whether the interval of the rate ratio lies below 1.
    """

    cases_avoided_per_year: Range
    cost_per_case: Range
    saving_per_year: Range
    payback_years: float
    at_rates: tuple[AtRate, ...]
    is_saving_established: bool


def npv(cash_flows: Values, rate: float) -> float:
    """Net present value: the first flow now, each further one a year later.

    Args:
        cash_flows: money at the end of year 0, 1, 2 ...; outlays negative.
        rate: yearly discount rate, above -1 (0.03 is 3 %).

    Raises:
        ValueError: missing or infinite flows, rate of -1 or less.

    Source: any finance text; sum of flow / (1 + rate) ** year.
    """
    flows = _flows(cash_flows)
    yearly = _rate(rate)
    return float((flows * (1 + yearly) ** -np.arange(flows.size)).sum())


def payback(cash_flows: Values, rate: float = 0.0) -> float:
    """Years until the (discounted) flows first add up to 0, running evenly within each year.

    Args as in ``npv``; a rate of 0 gives the simple payback.

    Returns:
        Years; 0 if nothing is laid out, ``inf`` if the flows never add up to 0 within their years.
    """
    flows = _flows(cash_flows)
    present = flows * (1 + _rate(rate)) ** -np.arange(flows.size)
    total = np.cumsum(present)
    reached = np.flatnonzero(total >= -1e-9 * np.abs(present).sum())
    if reached.size == 0:
        return math.inf
    year = int(reached[0])
    return 0.0 if year == 0 else year - max(0.0, float(total[year] / present[year]))


def break_even_cases(outlay: float, yearly_cost: float, cost_per_case: float, years: int, rate: float = 0.0) -> float:
    """Cases a year that must be avoided so that the purchase pays for itself within ``years``.

    Needs no claim about what was avoided so far.

    Args:
        outlay: paid now, 0 or more. yearly_cost: paid each year, 0 or more.
        cost_per_case: saved by each case avoided, above 0.
        years: horizon, at least 1. rate: yearly discount rate, above -1.

    Raises:
        ValueError: values outside these ranges.
    """
    spent = float(_inputs.not_negative("outlay", outlay))
    running = float(_inputs.not_negative("yearly_cost", yearly_cost))
    per_case = _inputs.positive_number("cost_per_case", cost_per_case)
    return (spent / _annuity(_years(years), _rate(rate)) + running) / per_case


def budget_case(
    events1: float,
    hours1: float,
    events0: float,
    hours0: float,
    *,
    hours_per_year: float,
    cost: CostPerCase | Values,
    outlay: float,
    yearly_cost: float = 0.0,
    years: int = 5,
    rates: tuple[float, ...] = RATES,
    indirect_multiplier: float = 0.0,
    claim_method: str = "bootstrap",
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = _SEED,
) -> BudgetCase:
    """Savings, payback and net present value, carrying the doubt about the rates and the cost per case.

    In each draw both rates come from their gamma posterior (Jeffreys prior), the cost per case from the own
    claims or from low, base and high; a program that made things worse gives a negative saving.

    Args:
        events1, hours1, events0, hours0: cases and hours after (1) and before (0).
        hours_per_year: hours that a coming year will have, above 0.
        cost: ``CostPerCase`` (a triangular distribution) or the own claims, at least two, 0 or more.
        outlay: paid now. yearly_cost: paid at each year's end (service, training time). 0 or more.
        years: horizon, at least 1. rates: yearly discount rates.
        indirect_multiplier: indirect over direct cost; 0 counts direct cost only.
        claim_method: for own claims, ``bootstrap`` (mean of claims drawn again) or ``log_normal`` (mean of a
            log-normal distribution with both parameters uncertain; at least 20 claims, all above 0).
        confidence: share of the simulation between the limits.
        draws: at least 100. seed: the same seed gives the same answer.

    Returns:
        ``BudgetCase``, money in the unit of ``cost``. Cases avoided have the interval of
        ``ratios.cases_avoided``; all money ranges are percentiles of the simulation.

    Raises:
        ValueError: values outside the ranges above.

    Source: discounting as in ``npv``; simulation as in Briggs, Claxton & Sculpher 2006, Decision Modelling
    for Health Economic Evaluation, ch. 4 (probabilistic sensitivity analysis).
    """
    horizon, coming = _years(years), _inputs.positive_number("hours_per_year", hours_per_year)
    factor = 1 + float(_inputs.not_negative("indirect_multiplier", indirect_multiplier))
    level = _inputs.share("confidence", confidence)
    if draws < 100:
        raise ValueError(f"draws must be 100 or more, got {draws}")
    spent = float(_inputs.not_negative("outlay", outlay))
    running = float(_inputs.not_negative("yearly_cost", yearly_cost))
    avoided = _cases_avoided(ratios.rate_difference(events1, hours1, events0, hours0, confidence), coming)
    random = np.random.default_rng(seed)
    after, before = (
        random.gamma(events + 0.5, 1 / hours, draws) for events, hours in ((events1, hours1), (events0, hours0))
    )
    per_case, drawn = cost_draws(cost, draws, random, claim_method)
    plan = Plan(
        spent, running, horizon, per_case * factor, avoided.estimate, (before - after) * coming * drawn * factor, level
    )
    return BudgetCase(
        cases_avoided_per_year=avoided,
        cost_per_case=spread_of(per_case * factor, drawn * factor, level),
        saving_per_year=spread_of(plan.saving, plan.savings, level),
        payback_years=payback(plan.flows(plan.saving)),
        at_rates=tuple(plan.at(rate) for rate in rates),
        is_saving_established=ratios.rate_ratio(events1, hours1, events0, hours0, confidence).upper < 1,
    )


@dataclass(frozen=True, eq=False)
class Plan:
    """A purchase with the cases it avoids a year and the simulated yearly savings, shape (draws,)."""

    outlay: float
    yearly_cost: float
    years: int
    cost_per_case: float
    cases_avoided: float
    savings: Array
    level: float

    @property
    def saving(self) -> float:
        """Money saved a year, from the estimates."""
        return self.cases_avoided * self.cost_per_case

    def flows(self, saving: float) -> list[float]:
        """Money now and at each year's end with this yearly saving."""
        return [-self.outlay] + [saving - self.yearly_cost] * self.years

    def at(self, rate: float) -> AtRate:
        """The purchase at one yearly discount rate; raises ``ValueError`` for a rate of -1 or less."""
        annuity = _annuity(self.years, _rate(rate))
        costs = self.outlay + self.yearly_cost * annuity
        benefit_cost = Range(math.nan, math.nan, math.nan)
        if costs > 0:
            benefit_cost = spread_of(self.saving * annuity / costs, self.savings * (annuity / costs), self.level)
        values, flows = self.savings * annuity - costs, self.flows(self.saving)
        return AtRate(
            rate=rate,
            npv=spread_of(npv(flows, rate), values, self.level),
            benefit_cost_ratio=benefit_cost,
            discounted_payback_years=payback(flows, rate),
            share_positive=float((values > 0).mean()),
            break_even_cases_per_year=(self.outlay / annuity + self.yearly_cost) / self.cost_per_case,
        )


def _cases_avoided(gap: ratios.Difference, hours: float) -> Range:
    """A difference of rates turned into cases on these hours, a fall counting up."""
    per_rate = -hours / BASE_HOURS
    return Range(gap.estimate * per_rate, gap.upper * per_rate, gap.lower * per_rate)


def cost_draws(
    cost: CostPerCase | Values, draws: int, random: np.random.Generator, method: str = "bootstrap"
) -> tuple[float, Array]:
    """The likely cost of a case, and draws of the mean cost, shape (draws,).

    Args and errors as ``cost`` and ``claim_method`` of ``budget_case``.
    """
    _inputs.choice("claim_method", method, CLAIM_METHODS)
    if isinstance(cost, CostPerCase):
        low, base, high = (_inputs.finite_number("cost", value) for value in (cost.low, cost.base, cost.high))
        if not 0 < low <= base <= high:
            raise ValueError("cost must have 0 < low <= base <= high")
        if low == high:
            return base, np.full(draws, base)
        return base, random.triangular(low, base, high, draws)
    claims = np.atleast_1d(_inputs.not_negative("cost", cost))
    if claims.size < 2 or claims.sum() == 0:
        raise ValueError("cost must be two claims or more, not all 0")
    if method == "bootstrap":
        return float(claims.mean()), _drawn_again(claims, draws, random)
    if (claims == 0).any() or claims.size < FEWEST_CLAIMS_LOG_NORMAL:
        raise ValueError(
            f"cost must be {FEWEST_CLAIMS_LOG_NORMAL} claims or more, all above 0, for a log-normal distribution"
        )
    logs = np.log(claims)
    spread = float(logs.var(ddof=1))
    variance = spread * (claims.size - 1) / random.chisquare(claims.size - 1, draws)
    centre = random.normal(float(logs.mean()), np.sqrt(variance / claims.size))
    return math.exp(float(logs.mean()) + spread / 2), np.exp(np.minimum(centre + variance / 2, 700.0))


def _drawn_again(claims: Array, draws: int, random: np.random.Generator) -> Array:
    """Means of claims drawn again, shape (draws,), not to be written to.

    Every proposal of a review begins from one seed and the same claims: what is drawn from one state of ``random`` is
    kept, with the state after it.
    """
    start = (claims.tobytes(), draws, repr(random.bit_generator.state))
    if start not in _KEPT:
        counts = random.multinomial(claims.size, np.full(claims.size, 1 / claims.size), draws)
        means = counts @ claims / claims.size
        means.setflags(write=False)
        if len(_KEPT) == _MOST_KEPT:
            _KEPT.pop(next(iter(_KEPT)))
        _KEPT[start] = (means, random.bit_generator.state)
    means, random.bit_generator.state = _KEPT[start]
    return means


def spread_of(estimate: float, draws: Array, level: float) -> Range:
    """An estimate with the limits that hold the middle ``level`` of the draws, widened to hold the estimate.

    The base figures can lie at the end of what is drawn: an effect of none at base and a tenth at best.
    """
    low, high = np.quantile(draws, [(1 - level) / 2, (1 + level) / 2])
    return Range(float(estimate), min(float(low), float(estimate)), max(float(high), float(estimate)))


def _annuity(years: int, rate: float) -> float:
    """Present value of 1 at the end of each year."""
    return float(((1 + rate) ** -np.arange(1, years + 1)).sum())


def _years(years: int) -> int:
    found = _inputs.count("years", years)
    if found < 1:
        raise ValueError("years must be 1 or more")
    return found


def _rate(rate: float) -> float:
    found = _inputs.finite_number("rate", rate)
    if found <= -1:
        raise ValueError(f"rate must be above -1 (0.03 is 3 % a year), got {found}")
    return found


def _flows(cash_flows: Values) -> Array:
    flows = np.atleast_1d(_inputs.numbers("cash_flows", cash_flows))
    if flows.size == 0 or not np.isfinite(flows).all():
        raise ValueError("cash_flows must be finite numbers, at least one")
    return flows
