"""The budget case: what the program has been worth, what each proposal would have to do, and which fit one budget."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from handling_review.evidence import costs, numbers
from handling_review.evidence.before_after import BeforeAfter
from handling_review.evidence.contrast import Estimate
from handling_review.evidence.costs import CostBasis, ProgramCost
from handling_review.evidence.ladder import Rung
from handling_review.evidence.numbers import Number
from handling_review.evidence.panel import Array
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.training import TrainingEvidence
from handling_review.evidence.unit_spread import UnitSpread
from handling_review.evidence.units import UnitsEvidence
from handling_review.program import Program
from handling_review.settings import Proposal
from handling_review.stats import money, proposals, worth
from handling_review.stats.money import Range

PLAIN = "before_after"
ALL_CLAIMS, WITHOUT_LARGEST, STATED_COST = "all claims", "without the largest claim", "stated cost of a case"
MAIN_RATE = 0.03  # the rate at which proposals are compared and assumptions moved: a public-sector convention


@dataclass(frozen=True)
class WorthRow:
    """What the program has been worth by one comparison, with all claims or without the largest one.

    Without a cost per case ``saving`` is ``None``; without a known program cost ``net`` is.
    """

    design: str
    claims: str
    avoided: Estimate
    saving: Estimate | None
    net: Estimate | None
    share_positive: Number | None


@dataclass(frozen=True)
class WorthEvidence:
    """Cases avoided so far and what they are worth; ``reason`` says why there is no figure.

    The rows come from the leading design, where it has a finite ratio,
    and from plain before and after. ``is_established``
    is true only where the range of every one of them lies below 1.
    """

    rows: tuple[WorthRow, ...]
    is_established: bool
    reason: str

    def headline(self) -> WorthRow | None:
        """The row to go by: of the comparisons the one with the smaller saving, all claims counted."""
        whole = [row for row in self.rows if row.claims != WITHOUT_LARGEST]
        return min(whole, key=lambda row: abs(row.avoided.value.value or 0), default=None)

    def other(self) -> WorthRow | None:
        """The other comparison, if there are two."""
        head = self.headline()
        return next((r for r in self.rows if head and r.claims == head.claims and r.design != head.design), None)

    def without_largest(self) -> WorthRow | None:
        """The headline's comparison without the largest claim."""
        head = self.headline()
        return next((r for r in self.rows if head and r.claims == WITHOUT_LARGEST and r.design == head.design), None)


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
    whatever a case costs. Without a cost per case ``at_rates``, ``levers`` and the savings are empty.
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


@dataclass(frozen=True)
class BudgetEvidence:
    """Everything about money. ``given`` is false where the program file says nothing of money at all."""

    currency: str
    year: int | None
    is_real: bool
    owner: str
    stated_on: date | None
    insured: str
    indirect_multiplier: float
    given: bool
    cost: CostBasis
    program_cost: ProgramCost
    worth: WorthEvidence
    proposals: tuple[ProposalRow, ...]
    budget: Number | None
    best: tuple[Best, ...]


@dataclass(frozen=True)
class Basis:
    """The evidence that money follows from."""

    lead: Rung
    change: BeforeAfter
    training: TrainingEvidence
    units: UnitsEvidence
    spread: UnitSpread


def gather(tables: ResultTables, found: Basis, program: Program) -> BudgetEvidence:
    """The budget case; nothing that the facility did not state or record is filled in."""
    stated = program.money
    cost = costs.basis(tables, program)
    spent = costs.program_cost(found.training, program)
    rows = tuple(_proposal(number, one, found, cost, program) for number, one in enumerate(program.proposals, start=1))
    budget = None if stated.budget is None else numbers.money("budget/stated", stated.budget, stated.currency)
    return BudgetEvidence(
        currency=stated.currency,
        year=stated.year,
        is_real=stated.is_real,
        owner=stated.owner,
        stated_on=stated.stated_on,
        insured=stated.insured,
        indirect_multiplier=stated.indirect_multiplier,
        given=bool(program.proposals) or cost.kind != costs.NONE or spent.total is not None,
        cost=cost,
        program_cost=spent,
        worth=_worth(found, cost, spent, program),
        proposals=rows,
        budget=budget,
        best=() if stated.budget is None else _best(rows, stated.budget, stated.currency),
    )


def _worth(found: Basis, cost: CostBasis, spent: ProgramCost, program: Program) -> WorthEvidence:
    """By the leading design and by before and after: what changed elsewhere is out of the first, not of the second."""
    by = [found.lead.design] if _finite(found.lead.ratio) else []
    if found.change.primary.avoided is not None and PLAIN not in by:
        by.append(PLAIN)
    rows, established = [], []
    for design in by:
        for claims in (ALL_CLAIMS, WITHOUT_LARGEST) if cost.kind == costs.OWN else (STATED_COST,):
            row, lies_below = _worth_row(found, design, claims, cost, spent, program)
            rows.append(row)
            established.append(lies_below)
    reason = "there is no ratio of the rate with the program to the rate without it" if not by else cost.reason
    return WorthEvidence(tuple(rows), bool(rows) and all(established), reason)


def _worth_row(
    found: Basis, design: str, claims: str, cost: CostBasis, spent: ProgramCost, program: Program
) -> tuple[WorthRow, bool]:
    currency = program.money.currency
    per_case = cost.input(leave_out_largest=claims == WITHOUT_LARGEST)
    paid = float(spent.total.value or 0) if spent.total is not None else 0.0
    one = _one_worth(found, design, money.CostPerCase(1, 1, 1) if per_case is None else per_case, paid, program)
    end = f"program/{design}/{claims.replace(' ', '-')}"
    knows_net = per_case is not None and spent.total is not None
    fewer = one.cases_avoided
    return WorthRow(
        design=design,
        claims=claims,
        avoided=Estimate(
            numbers.cases_avoided(f"worth_avoided/{end}", fewer.estimate),
            numbers.cases_avoided(f"worth_avoided_lower/{end}", fewer.lower),
            numbers.cases_avoided(f"worth_avoided_upper/{end}", fewer.upper),
        ),
        saving=None if per_case is None else _money("saving", end, one.saving, currency),
        net=_money("net", end, one.net, currency) if knows_net else None,
        share_positive=numbers.share(f"net_positive/{end}", one.share_positive) if knows_net else None,
    ), one.is_saving_established


def _one_worth(
    found: Basis, design: str, per_case: money.CostPerCase | Array, paid: float, program: Program
) -> worth.Worth:
    lead, plain = found.lead, found.change.primary
    level, indirect = program.analysis.confidence, program.money.indirect_multiplier
    if design == lead.design and lead.ratio is not None and _finite(lead.ratio):
        ratio = Range(*(float(one.value or 0) for one in (lead.ratio.value, lead.ratio.lower, lead.ratio.upper)))
        events = int(lead.now_events.value or 0)
        return worth.worth(events, ratio, per_case, paid, indirect_multiplier=indirect, confidence=level)
    now, then = plain.now, plain.then
    return worth.worth_of_rates(
        int(now.events.value or 0), float(now.hours.value or 0), int(then.events.value or 0),
        float(then.hours.value or 0), per_case, paid, indirect_multiplier=indirect, confidence=level,
    )  # fmt: skip


def _finite(ratio: Estimate | None) -> bool:
    if ratio is None:
        return False
    values = [one.value for one in (ratio.value, ratio.lower, ratio.upper)]
    return all(value is not None and 0 < value < 1000 for value in values)


def _money(kind: str, end: str, found: Range, currency: str) -> Estimate:
    return Estimate(
        numbers.money(f"{kind}/{end}", found.estimate, currency),
        numbers.money(f"{kind}_lower/{end}", found.lower, currency),
        numbers.money(f"{kind}_upper/{end}", found.upper, currency),
    )


def _cases(kind: str, end: str, found: Range) -> Estimate:
    return Estimate(
        numbers.decimal(f"{kind}/{end}", found.estimate, "cases a year"),
        numbers.decimal(f"{kind}_lower/{end}", found.lower, "cases a year"),
        numbers.decimal(f"{kind}_upper/{end}", found.upper, "cases a year"),
    )


def _proposal(number: int, stated: Proposal, found: Basis, cost: CostBasis, program: Program) -> ProposalRow:
    currency, end = program.money.currency, f"proposal:{number}"
    outlay = stated.quantity * stated.unit_cost
    years = stated.life_years or program.money.horizon_years
    annuity = -money.npv([0.0] + [-1.0] * years, MAIN_RATE)
    unit = _unit(stated.unit, found.units)
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
        addressed_base=0.0,
        reason="",
    )
    if unit is None:
        return replace(blank, reason=f"no unit {stated.unit!r} has hours in the review")
    addressed = _addressed(unit, stated.share_addressed, found)
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
        addressed=_cases("addressed", end, judged.cases_addressed_per_year),
        avoided=_cases("avoided", end, judged.cases_avoided_per_year),
        addressed_base=judged.cases_addressed_per_year.estimate,
    )
    if per_case is None:
        return replace(known, reason=cost.reason)
    return replace(
        known,
        saving=_money("yearly_saving", end, judged.saving_per_year, currency),
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
    )


def _at_rate(found: proposals.RateCase, end: str, currency: str) -> AtRate:
    place = f"{end}/{round(100 * found.rate)}"
    ratio = found.benefit_cost_ratio
    return AtRate(
        rate=numbers.share(f"discount_rate/{round(100 * found.rate)}", found.rate),
        npv=_money("npv", place, found.npv, currency),
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
        pays_back=numbers.share(f"pays_back/{place}", found.share_paying_back),
        break_even=numbers.decimal(f"break_even/{place}", found.break_even_cases_per_year, "cases a year"),
    )


def _unit(name: str, units: UnitsEvidence) -> str | None:
    """The name of the unit that a proposal means, by its code or its name in any case."""
    wanted = " ".join(name.split()).casefold()
    for row in units.rows:
        if wanted in (row.unit.casefold(), row.name.casefold()):
            return row.name
    return None


def _addressed(name: str, share: float, found: Basis) -> Range | None:
    """Cases a year that a proposal addresses: the unit's weighed rate on the hours of its last four quarters."""
    hours = {row.name: float(row.recent.hours.value or 0) for row in found.units.rows}[name]
    if hours <= 0 or len(found.units.recent_quarters) < 4:
        return None
    weighed: Mapping[str, tuple[Number, Number, Number]] = {
        row.name: (row.rate, row.lower, row.upper) for row in found.spread.rows
    }
    if name in weighed:
        rate, low, high = (float(one.value or 0) for one in weighed[name])
    else:
        whole = found.units.facility_overall
        if whole.rate is None or whole.lower is None or whole.upper is None:
            return None
        rate, low, high = (float(one.value or 0) for one in (whole.rate, whole.lower, whole.upper))
    scale = hours / 200_000 * share
    return Range(rate * scale, low * scale, high * scale)


def _best(rows: tuple[ProposalRow, ...], budget: float, currency: str) -> tuple[Best, ...]:
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
