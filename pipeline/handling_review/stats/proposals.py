"""What a purchase would have to avoid, what it may avoid, and which purchases fit one budget best."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from handling_review.stats import _inputs, money
from handling_review.stats._inputs import Array, Values
from handling_review.stats.money import RATES, AtRate, CostPerCase, Plan, Range

DRAWS = 20_000
MOST_PROPOSALS = 20  # every set of so many is looked at: about a million
_SEED = 20_260_904
_LIKE = 1e-9  # of the total: two sets nearer than that are equally good


@dataclass(frozen=True)
class Reduction:
    """Share of the cases addressed that a purchase is expected to avoid: low, base and high, each from 0 to 1."""

    low: float
    base: float
    high: float


@dataclass(frozen=True)
class RateCase(AtRate):
    """A proposal at one yearly discount rate.

    Attributes:
        low, high: net present value with the low, and with the high, figures all at once.
    """

    low: float
    high: float


@dataclass(frozen=True)
class Lever:
    """One assumption moved from its low to its high figure, all others at their base: net present value at each."""

    name: str
    at_low: float
    at_high: float

    @property
    def width(self) -> float:
        """How far the answer moves."""
        return abs(self.at_high - self.at_low)


@dataclass(frozen=True)
class ProposalCase:
    """One proposal judged.

    Attributes:
        outlay, yearly_cost, years: paid now, paid at each year's end, life in years.
        cases_addressed_per_year: cases of the kind that it addresses.
        cases_avoided_per_year: of them, with the limits of the simulation.
        saving_per_year: cases avoided times cost of a case.
        payback_years: simple, from the base figures; ``inf`` if not within the life.
        at_rates: one entry a discount rate.
        levers: what the answer hangs on, the widest first, at ``lever_rate``.
    """

    outlay: float
    yearly_cost: float
    years: int
    cases_addressed_per_year: Range
    cases_avoided_per_year: Range
    saving_per_year: Range
    payback_years: float
    at_rates: tuple[RateCase, ...]
    levers: tuple[Lever, ...]
    lever_rate: float


@dataclass(frozen=True)
class BestSet:
    """The sets of proposals that give the most within a budget; more than one if they are equally good.

    Attributes:
        chosen: places of the proposals, one tuple a set; the smallest outlay first.
        total: what the set gives. outlay: what the first of them costs.
    """

    chosen: tuple[tuple[int, ...], ...]
    total: float
    outlay: float


def judge(
    addressed: Range,
    reduction: Reduction,
    cost: CostPerCase | Values,
    outlay: float,
    *,
    yearly_cost: float = 0.0,
    years: int = 10,
    rates: tuple[float, ...] = RATES,
    indirect_multiplier: float = 0.0,
    lever_rate: float = 0.03,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = _SEED,
) -> ProposalCase:
    """Judge one proposal, carrying the doubt about cases, effect and cost.

    In each draw the cases addressed come from a gamma distribution with the mean and (about) the limits given, the
    effect from a triangular one, the cost as in ``money.budget_case``.

    Args:
        addressed: cases a year of the kind it addresses: estimate, lower and upper limit, 0 or more.
        reduction: share of them avoided, low to high within 0 and 1.
        cost: ``CostPerCase`` or own claims. outlay: paid now. yearly_cost: paid each year's end. 0 or more.
        years: life, at least 1. rates: yearly discount rates. lever_rate: the one at which assumptions are moved.
        indirect_multiplier: indirect over direct cost; 0 counts direct cost only.
        confidence: share of the simulation between the limits, and that of ``addressed``. draws: at least 100.

    Returns:
        ``ProposalCase``, money in the unit of ``cost``.

    Raises:
        ValueError: values outside the ranges above.

    Source: discounting as in ``money.npv``, flows at each year's end; simulation as in Briggs, Claxton & Sculpher
    2006, Decision Modelling for Health Economic Evaluation, ch. 4; one-way sensitivity as in its ch. 3.
    """
    share = _reduction(reduction)
    cases = _addressed(addressed)
    spent = float(_inputs.not_negative("outlay", outlay))
    running = float(_inputs.not_negative("yearly_cost", yearly_cost))
    life = _inputs.count("years", years)
    if life < 1:
        raise ValueError("years must be 1 or more")
    level = _inputs.share("confidence", confidence)
    factor = 1 + float(_inputs.not_negative("indirect_multiplier", indirect_multiplier))
    if draws < 100:
        raise ValueError(f"draws must be 100 or more, got {draws}")
    random = np.random.default_rng(seed)
    per_case, cost_drawn = money.cost_draws(cost, draws, random)
    per_case, cost_drawn = per_case * factor, cost_drawn * factor
    costs = (cost.low * factor, cost.high * factor) if isinstance(cost, CostPerCase) else _ends(cost_drawn, level)
    cases_drawn = _gamma(cases, level, draws, random)
    effect = np.full(draws, share.base)
    if share.high > share.low:
        effect = random.triangular(share.low, share.base, share.high, draws)
    avoided = cases_drawn * effect
    plan = Plan(spent, running, life, per_case, cases.estimate * share.base, avoided * cost_drawn, level)
    worst, best = cases.lower * share.low * costs[0], cases.upper * share.high * costs[1]
    return ProposalCase(
        outlay=spent,
        yearly_cost=running,
        years=life,
        cases_addressed_per_year=cases,
        cases_avoided_per_year=money.spread_of(plan.cases_avoided, avoided, level),
        saving_per_year=money.spread_of(plan.saving, plan.savings, level),
        payback_years=money.payback(plan.flows(plan.saving)),
        at_rates=tuple(
            RateCase(
                **vars(plan.at(rate)),
                low=money.npv(plan.flows(worst), rate),
                high=money.npv(plan.flows(best), rate),
            )
            for rate in rates
        ),
        levers=_levers(plan, lever_rate, cases, share, (costs[0], per_case, costs[1])),
        lever_rate=lever_rate,
    )


def best_sets(outlays: Values, gains: Values, budget: float) -> BestSet:
    """The sets of proposals with the largest sum of gains whose outlays fit a budget; every set is looked at.

    Args:
        outlays: paid now, 0 or more, shape (n,), n at most 20.
        gains: what each gives (cases avoided a year, or net present value; below 0 allowed), shape (n,).
        budget: 0 or more.

    Returns:
        ``BestSet``; the empty set if nothing fits or nothing gains. Of equally good sets those with a member that
        could be left out without loss are not listed.

    Raises:
        ValueError: negative outlays or budget, other shapes, more than 20 proposals.
    """
    price = np.atleast_1d(_inputs.not_negative("outlays", outlays))
    gain = np.atleast_1d(_inputs.numbers("gains", gains))
    limit = float(_inputs.not_negative("budget", budget))
    if price.shape != gain.shape:
        raise ValueError("outlays and gains must have the same length")
    if price.size > MOST_PROPOSALS:
        raise ValueError(f"at most {MOST_PROPOSALS} proposals can be compared exactly, got {price.size}")
    places = [i for i in range(price.size) if gain[i] > 0]
    sums, worth = _subset_sums(price[places]), _subset_sums(gain[places])
    fits = np.flatnonzero(sums <= limit * (1 + 1e-12))
    best = float(worth[fits].max())
    like = fits[worth[fits] >= best - _LIKE * max(1.0, abs(best))]
    like = like[np.argsort(sums[like], kind="stable")]
    sets = tuple(tuple(place for bit, place in enumerate(places) if found >> bit & 1) for found in like.tolist())
    return BestSet(sets, best, float(sums[like[0]]))


def _subset_sums(values: Array) -> Array:
    """Sum of every subset; bit i of the place says whether value i is in."""
    sums = np.zeros(1)
    for value in values:
        sums = np.concatenate([sums, sums + value])
    return sums


def _levers(
    plan: Plan, rate: float, cases: Range, share: Reduction, cost: tuple[float, float, float]
) -> tuple[Lever, ...]:
    def at(addressed: float, effect: float, per_case: float) -> float:
        return money.npv(plan.flows(addressed * effect * per_case), rate)

    low_cost, base_cost, high_cost = cost
    found = [
        Lever(
            "cases addressed",
            at(cases.lower, share.base, base_cost),
            at(cases.upper, share.base, base_cost),
        ),
        Lever("reduction", at(cases.estimate, share.low, base_cost), at(cases.estimate, share.high, base_cost)),
        Lever("cost of a case", at(cases.estimate, share.base, low_cost), at(cases.estimate, share.base, high_cost)),
    ]
    return tuple(sorted(found, key=lambda lever: -lever.width))


def _gamma(cases: Range, level: float, draws: int, random: np.random.Generator) -> Array:
    """Draws with this mean whose spread, as a gamma distribution, fits the distance of the limits."""
    spread = (cases.upper - cases.lower) / (-2 * float(special.ndtri((1 - level) / 2)))
    if cases.estimate == 0 or spread == 0:
        return np.full(draws, cases.estimate)
    shape = (cases.estimate / spread) ** 2
    return np.asarray(random.gamma(shape, cases.estimate / shape, draws))


def _ends(drawn: Array, level: float) -> tuple[float, float]:
    limits = money.spread_of(float(np.median(drawn)), drawn, level)
    return limits.lower, limits.upper


def _addressed(given: Range) -> Range:
    low, base, high = (float(_inputs.not_negative("addressed", v)) for v in (given.lower, given.estimate, given.upper))
    if not low <= base <= high:
        raise ValueError("addressed must have lower <= estimate <= upper")
    return Range(base, low, high)


def _reduction(given: Reduction) -> Reduction:
    low, base, high = (_inputs.finite_number("reduction", v) for v in (given.low, given.base, given.high))
    if not 0 <= low <= base <= high <= 1:
        raise ValueError("reduction must have 0 <= low <= base <= high <= 1")
    return Reduction(low, base, high)
