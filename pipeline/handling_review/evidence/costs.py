"""What one case costs, by the facility's own claims or by its own statement, and what the program has cost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number
from handling_review.evidence.panel import Array
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.training import TrainingEvidence
from handling_review.program import Program
from handling_review.stats import money
from handling_review.stats.money import CostPerCase

FEWEST_CLAIMS = 5  # with fewer the mean says next to nothing
FEWEST_PAID = 2  # claims that cost anything: with one alone nothing is left without the largest
STATED, OWN, NONE = "stated", "own", "none"
DRAWS, SEED = 20_000, 20_260_905


@dataclass(frozen=True)
class CostBasis:
    """What a case is taken to cost: ``kind`` is stated (program file), own (claims) or none (``reason`` says why).

    For own claims ``base`` is their mean and ``low`` and ``high`` the range of that mean by drawing the claims again;
    ``without_largest`` is the mean without the ``largest`` one. ``claims`` were old enough, ``too_young`` were not.
    """

    kind: str
    low: Number | None
    base: Number | None
    high: Number | None
    claims: Number
    too_young: Number
    largest: Number | None
    without_largest: Number | None
    reason: str
    own: tuple[float, ...] = ()

    def input(self, *, leave_out_largest: bool = False) -> CostPerCase | Array | None:
        """The cost as the statistics take it; ``None`` without any."""
        if self.kind == STATED and self.low and self.base and self.high:
            return CostPerCase(*(float(one.value or 0) for one in (self.low, self.base, self.high)))
        if self.kind == OWN:
            ordered = sorted(self.own)
            return np.array(ordered[:-1] if leave_out_largest else ordered)
        return None


@dataclass(frozen=True)
class ProgramCost:
    """What the program has cost: classes (hours times wage), materials, and the rest; ``reason`` if not known."""

    classes: Number
    hours: Number | None
    wages: Number | None
    materials: Number | None
    other: Number | None
    total: Number | None
    reason: str


def basis(tables: ResultTables, program: Program) -> CostBasis:
    """Stated costs come first; else own claims of handling cases that are old enough; else nothing is made up."""
    stated = program.money
    handling = tables.claims["is_handling"].astype(bool)
    rows = tables.claims[handling] if program.analysis.series == "handling" else tables.claims
    old = rows[rows["is_old_enough"]]
    claims = _each(old)
    count = numbers.count("claims/handling", claims.size, "claims")
    young = numbers.count("claims_too_young/handling", int(rows["cases"].sum()) - claims.size, "claims")
    blank = CostBasis(NONE, None, None, None, count, young, None, None, "")

    def amount(name: str, value: float) -> Number:
        return numbers.money(f"cost_{name}/case", value, stated.currency)

    if stated.cost_low is not None and stated.cost_base is not None and stated.cost_high is not None:
        low, base, high = stated.cost_low, stated.cost_base, stated.cost_high
        return CostBasis(
            STATED, amount("low", low), amount("base", base), amount("high", high), count, young, None, None, ""
        )
    if claims.size < FEWEST_CLAIMS or (claims > 0).sum() < FEWEST_PAID:
        why = f"fewer than {FEWEST_CLAIMS} claims are old enough to be set side by side, and no cost is stated"
        if claims.size >= FEWEST_CLAIMS:
            why = "fewer than two of the claims that are old enough cost anything, and no cost is stated"
        return CostBasis(NONE, None, None, None, count, young, None, None, why)
    mean, drawn = money.cost_draws(claims, DRAWS, np.random.default_rng(SEED))
    found = money.spread_of(mean, drawn, program.analysis.confidence)
    rest = np.sort(claims)[:-1]
    return CostBasis(
        kind=OWN,
        low=amount("low", found.lower),
        base=amount("base", found.estimate),
        high=amount("high", found.upper),
        claims=blank.claims,
        too_young=blank.too_young,
        largest=amount("largest", float(claims.max())),
        without_largest=amount("without_largest", float(rest.mean())),
        reason="",
        own=tuple(float(claim) for claim in np.sort(claims)),
    )


def _each(rows: pd.DataFrame) -> Array:
    return np.repeat(rows["cost"].to_numpy(dtype=np.float64), rows["cases"].to_numpy(dtype=np.int64))


def program_cost(training: TrainingEvidence, program: Program) -> ProgramCost:
    """Hours in class times wage, materials, and what else was spent; nothing is guessed."""
    stated, done = program.money, training.classes
    if stated.wage_per_hour is None or stated.hours_per_completion is None:
        why = "wage_per_hour and hours_per_completion are not stated under [money]"
        return ProgramCost(done, None, None, None, None, None, why)
    count = float(done.value or 0)
    hours = count * stated.hours_per_completion
    wages, materials = hours * stated.wage_per_hour, count * stated.materials_per_completion

    def amount(name: str, value: float) -> Number:
        return numbers.money(f"program_cost/{name}", value, stated.currency)

    return ProgramCost(
        classes=done,
        hours=numbers.hours("program_cost/hours_in_class", hours),
        wages=amount("wages", wages),
        materials=amount("materials", materials),
        other=amount("other", stated.other_costs),
        total=amount("total", wages + materials + stated.other_costs),
        reason="",
    )
