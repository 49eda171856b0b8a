"""The budget case: what the program has been worth, what each proposal would have to do, and which fit one budget."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from handling_review.evidence import costs, numbers
from handling_review.evidence.before_after import BeforeAfter
from handling_review.evidence.contrast import Estimate
from handling_review.evidence.costs import CostBasis, ProgramCost
from handling_review.evidence.ladder import Rung
from handling_review.evidence.numbers import Number
from handling_review.evidence.panel import Array
from handling_review.evidence.purchases import Best, ProposalRow, best_sets, judge
from handling_review.evidence.ranges import money_range
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.training import TrainingEvidence
from handling_review.evidence.unit_spread import UnitSpread
from handling_review.evidence.units import UnitsEvidence
from handling_review.program import Program
from handling_review.stats import money, worth
from handling_review.stats.money import Range

PLAIN = "before_after"
ALL_CLAIMS, WITHOUT_LARGEST, STATED_COST = "all claims", "without the largest claim", "stated cost of a case"
DIRECT_ONLY = "direct costs only"  # shown beside the rest where an indirect multiplier is stated


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
        whole = [row for row in self.rows if row.claims not in (WITHOUT_LARGEST, DIRECT_ONLY)]
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
class BudgetEvidence:
    """Everything about money. ``given`` is false where the program file says nothing of money at all."""

    currency: str
    year: int | None
    is_real: bool
    owner: str
    stated_on: date | None
    insured: str
    indirect_multiplier: float
    indirect: Number
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
    rows = tuple(
        judge(number, one, found.units, found.spread, cost, program)
        for number, one in enumerate(program.proposals, start=1)
    )
    budget = None if stated.budget is None else numbers.money("budget/stated", stated.budget, stated.currency)
    return BudgetEvidence(
        currency=stated.currency,
        year=stated.year,
        is_real=stated.is_real,
        owner=stated.owner,
        stated_on=stated.stated_on,
        insured=stated.insured,
        indirect_multiplier=stated.indirect_multiplier,
        indirect=numbers.plain("setting/indirect_multiplier", stated.indirect_multiplier, "ratio"),
        given=bool(program.proposals) or cost.kind != costs.NONE or spent.total is not None,
        cost=cost,
        program_cost=spent,
        worth=_worth(found, cost, spent, program),
        proposals=rows,
        budget=budget,
        best=() if stated.budget is None else best_sets(rows, stated.budget, stated.currency),
    )


def _worth(found: Basis, cost: CostBasis, spent: ProgramCost, program: Program) -> WorthEvidence:
    """By the leading design and by before and after: what changed elsewhere is out of the first, not of the second."""
    by = [found.lead.design] if _finite(found.lead.ratio) else []
    plain = found.change.primary
    has_case = bool(plain.now.events.value or plain.then.events.value)
    if plain.avoided is not None and has_case and PLAIN not in by:
        by.append(PLAIN)
    rows, established = [], []
    for design in by:
        shown = (ALL_CLAIMS, WITHOUT_LARGEST) if cost.kind == costs.OWN else (STATED_COST,)
        for claims in (*shown, *((DIRECT_ONLY,) if program.money.indirect_multiplier else ())):
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
    indirect = 0.0 if claims == DIRECT_ONLY else program.money.indirect_multiplier
    given = money.CostPerCase(1, 1, 1) if per_case is None else per_case
    one = _one_worth(found, design, given, paid, indirect, program.analysis.confidence)
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
        saving=None if per_case is None else money_range("saving", end, one.saving, currency),
        net=money_range("net", end, one.net, currency) if knows_net else None,
        share_positive=numbers.share(f"net_positive/{end}", one.share_positive) if knows_net else None,
    ), one.is_saving_established


def _one_worth(
    found: Basis, design: str, per_case: money.CostPerCase | Array, paid: float, indirect: float, level: float
) -> worth.Worth:
    lead, plain = found.lead, found.change.primary
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
