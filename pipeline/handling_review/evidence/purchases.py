"""Each purchase that is proposed: what it would have to avoid, what it may avoid, and which fit one budget."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from handling_review.evidence import numbers
from handling_review.evidence.contrast import Estimate
from handling_review.evidence.costs import CostBasis
from handling_review.evidence.numbers import Number
from handling_review.evidence.ranges import cases_range, money_range
from handling_review.evidence.unit_spread import UnitSpread
from handling_review.evidence.units import UnitsEvidence
from handling_review.program import Program
from handling_review.settings import Proposal
from handling_review.stats import money, proposals
from handling_review.stats.money import RATES, Range

MAIN_RATE = 0.03  # the rate at which proposals are compared and assumptions moved: a public-sector convention


@dataclass(frozen=True)
class AtRate:
    """A proposal at one discount rate."""

    rate: Number
    npv: Estimate
    low: Number
    high: Number
    benefit_cost: Estimate | None
    discounted_payback: Number
    pays_back: Number
    break_even: Number


@dataclass(frozen=True)
class Lever:
    """One assumption moved from low to high: net present value at each, others at their base."""

    name: str
    at_low: Number
    at_high: Number


@dataclass(frozen=True)
class ProposalRow:
    """One proposal of the program file, or the ``reason`` why it cannot be judged.

    ``yearly_cost_in_all`` is outlay and service spread evenly over its life at the main rate: what it must save a year,
    whatever a case costs. Without a cost per case ``at_rates``, ``levers`` and the savings are empty. ``by_year`` holds
    for each year of its life the net present value up to then at each rate; ``direct_only`` the one at the main rate
    without the indirect multiplier, where one is stated.
    """

    number: int
    stated: Proposal
    unit_name: str
    years: int
    life: Number
    outlay: Number
    yearly_service: Number
    yearly_cost_in_all: Number
    addressed: Estimate | None
    avoided: Estimate | None
    saving: Estimate | None
    payback: Number | None
    at_rates: tuple[AtRate, ...]
    levers: tuple[Lever, ...]
    by_year: tuple[tuple[Number, ...], ...]
    direct_only: Number | None
    addressed_base: float
    reason: str

    def main(self) -> AtRate | None:
        """The figures at the main rate."""
        return next((one for one in self.at_rates if one.rate.value == MAIN_RATE), None)


@dataclass(frozen=True)
class Best:
    """The proposals that give the most within the budget, by number; ``ties`` other sets are as good."""

    by: str
    chosen: tuple[int, ...]
    outlay: Number
    total: Number
    ties: Number


def judge(
    number: int, stated: Proposal, units: UnitsEvidence, spread: UnitSpread, cost: CostBasis, program: Program
) -> ProposalRow:
    """One proposal judged by the unit's weighed rate, its own stated effect and the cost of a case."""
    currency, end = program.money.currency, f"proposal:{number}"
    outlay = stated.quantity * stated.unit_cost
    years = stated.life_years or program.money.horizon_years
    annuity = -money.npv([0.0] + [-1.0] * years, MAIN_RATE)
    unit = _unit(stated.unit, units)
    blank = ProposalRow(
        number=number,
        stated=stated,
        unit_name=stated.unit if unit is None else unit,
        years=years,
        life=numbers.count(f"life/{end}", years, "years"),
        outlay=numbers.money(f"outlay/{end}", outlay, currency),
        yearly_service=numbers.money(f"yearly_service/{end}", stated.yearly_service, currency),
        yearly_cost_in_all=numbers.money(f"yearly_cost/{end}", outlay / annuity + stated.yearly_service, currency),
        addressed=None,
        avoided=None,
        saving=None,
        payback=None,
        at_rates=(),
        levers=(),
        by_year=(),
        direct_only=None,
        addressed_base=0.0,
        reason="",
    )
    if unit is None:
        return replace(blank, reason=f"no unit {stated.unit!r} has hours in the review")
    addressed = _addressed(unit, stated.share_addressed, units, spread)
    if addressed is None:
        return replace(blank, reason="the unit has no hours in the last four complete quarters")
    per_case = cost.input()
    judged = proposals.judge(
        addressed,
        proposals.Reduction(stated.reduction_low, stated.reduction_base, stated.reduction_high),
        money.CostPerCase(1, 1, 1) if per_case is None else per_case,
        outlay,
        yearly_cost=stated.yearly_service,
        years=years,
        indirect_multiplier=program.money.indirect_multiplier,
        lever_rate=MAIN_RATE,
        confidence=program.analysis.confidence,
    )
    known = replace(
        blank,
        addressed=cases_range("addressed", end, judged.cases_addressed_per_year),
        avoided=cases_range("avoided", end, judged.cases_avoided_per_year),
        addressed_base=judged.cases_addressed_per_year.estimate,
    )
    if per_case is None:
        return replace(known, reason=cost.reason)
    saved = judged.saving_per_year.estimate
    indirect = program.money.indirect_multiplier
    return replace(
        known,
        saving=money_range("yearly_saving", end, judged.saving_per_year, currency),
        payback=numbers.years(f"payback/{end}", judged.payback_years),
        at_rates=tuple(_at_rate(one, end, currency) for one in judged.at_rates),
        levers=tuple(
            Lever(
                lever.name,
                numbers.money(f"lever_low/{end}/{lever.name.replace(' ', '-')}", lever.at_low, currency),
                numbers.money(f"lever_high/{end}/{lever.name.replace(' ', '-')}", lever.at_high, currency),
            )
            for lever in judged.levers
        ),
        by_year=tuple(
            tuple(
                numbers.money(
                    f"npv_to_year/{end}/{round(100 * rate)}/{year}",
                    money.npv([-outlay] + [saved - stated.yearly_service] * year, rate),
                    currency,
                )
                for rate in RATES
            )
            for year in range(1, years + 1)
        ),
        direct_only=numbers.money(
            f"npv_direct_only/{end}",
            money.npv([-outlay] + [saved / (1 + indirect) - stated.yearly_service] * years, MAIN_RATE),
            currency,
        )
        if indirect
        else None,
    )


def _at_rate(found: proposals.RateCase, end: str, currency: str) -> AtRate:
    place = f"{end}/{round(100 * found.rate)}"
    ratio = found.benefit_cost_ratio
    return AtRate(
        rate=numbers.share(f"discount_rate/{round(100 * found.rate)}", found.rate),
        npv=money_range("npv", place, found.npv, currency),
        low=numbers.money(f"npv_all_low/{place}", found.low, currency),
        high=numbers.money(f"npv_all_high/{place}", found.high, currency),
        benefit_cost=None
        if math.isnan(ratio.estimate)
        else Estimate(
            numbers.ratio(f"benefit_cost/{place}", ratio.estimate),
            numbers.ratio(f"benefit_cost_lower/{place}", ratio.lower),
            numbers.ratio(f"benefit_cost_upper/{place}", ratio.upper),
        ),
        discounted_payback=numbers.years(f"discounted_payback/{place}", found.discounted_payback_years),
        pays_back=numbers.share(f"pays_back/{place}", found.share_positive),
        break_even=numbers.decimal(f"break_even/{place}", found.break_even_cases_per_year, "cases a year"),
    )


def _unit(name: str, units: UnitsEvidence) -> str | None:
    """The name of the unit that a proposal means, by its code or its name in any case."""
    wanted = " ".join(name.split()).casefold()
    for row in units.rows:
        if wanted in (row.unit.casefold(), row.name.casefold()):
            return row.name
    return None


def _addressed(name: str, share: float, units: UnitsEvidence, spread: UnitSpread) -> Range | None:
    """Cases a year that a proposal addresses: the unit's weighed rate on the hours of its last four quarters."""
    hours = {row.name: float(row.recent.hours.value or 0) for row in units.rows}[name]
    if hours <= 0 or len(units.recent_quarters) < 4:
        return None
    weighed: Mapping[str, tuple[Number, Number, Number]] = {
        row.name: (row.rate, row.lower, row.upper) for row in spread.rows
    }
    if name in weighed:
        rate, low, high = (float(one.value or 0) for one in weighed[name])
    else:
        whole = units.facility_overall
        if whole.rate is None or whole.lower is None or whole.upper is None:
            return None
        rate, low, high = (float(one.value or 0) for one in (whole.rate, whole.lower, whole.upper))
    scale = hours / 200_000 * share
    return Range(rate * scale, low * scale, high * scale)


def best_sets(rows: tuple[ProposalRow, ...], budget: float, currency: str) -> tuple[Best, ...]:
    """The sets with the most expected avoided cases and, where all have one, the highest net present value."""
    judged = [row for row in rows if row.avoided is not None]
    if not judged:
        return ()
    outlays = [row.stated.quantity * row.stated.unit_cost for row in judged]
    questions = [("cases", [float(row.avoided.value.value or 0) for row in judged if row.avoided is not None])]
    if all(row.main() is not None for row in judged):
        values = [main.npv.value.value for row in judged if (main := row.main()) is not None]
        questions.append(("npv", [float(value or 0) for value in values]))
    found = []
    for by, gains in questions:
        best = proposals.best_sets(outlays, gains, budget)
        total = (
            numbers.decimal(f"best_total/{by}", best.total, "cases a year")
            if by == "cases"
            else numbers.money(f"best_total/{by}", best.total, currency)
        )
        found.append(
            Best(
                by=by,
                chosen=tuple(judged[place].number for place in best.chosen[0]),
                outlay=numbers.money(f"best_outlay/{by}", best.outlay, currency),
                total=total,
                ties=numbers.count(f"best_ties/{by}", len(best.chosen) - 1, "sets"),
            )
        )
    return tuple(found)
