"""How far units differ beyond chance: one test for all, rates weighed against the spread, and a list of p-values."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.units import UnitsEvidence
from handling_review.program import Program
from handling_review.stats import multiplicity, shrinkage

ALIKE_ABOVE = 0.05  # a p-value at or above it is no sign of a difference


@dataclass(frozen=True)
class WeighedUnit:
    """One unit's rate weighed against all units: ``weight`` is the share that the facility's rate has in it.

    ``among_highest`` is the probability that its true rate is among the highest quarter of the units; ``adjusted`` the
    p-value of the unit against the rest, adjusted for the number of units (Benjamini-Hochberg).
    """

    unit: str
    name: str
    rate: Number
    lower: Number
    upper: Number
    weight: Number
    among_highest: Number
    adjusted: Number


@dataclass(frozen=True)
class UnitSpread:
    """All units in alphabetical order; ``same_rate`` is the p-value of "all units have one rate".

    ``reason`` says why there is nothing to weigh.
    """

    series: str
    rows: tuple[WeighedUnit, ...]
    same_rate: Number | None
    differ: bool
    notes: tuple[str, ...]
    reason: str


def gather(units: UnitsEvidence, program: Program) -> UnitSpread:
    """The units over all complete quarters."""
    rows = [row for row in units.rows if (row.overall.hours.value or 0) > 0]
    events = np.array([float(row.overall.events.value or 0) for row in rows])
    hours = np.array([float(row.overall.hours.value or 0) for row in rows])
    if len(rows) < 2 or not events.sum():
        reason = "fewer than two units have hours" if len(rows) < 2 else "there is no case"
        return UnitSpread(units.series, (), None, False, (), reason)
    level = program.analysis.confidence
    shrunk = shrinkage.gamma_poisson(events, hours, confidence=level)
    # The mean of a very skewed distribution can lie beyond its central limits: these are drawn out to it.
    lower, upper = np.minimum(shrunk.lower, shrunk.mean), np.maximum(shrunk.upper, shrunk.mean)
    against = multiplicity.against_rest(events, hours, level)
    same = multiplicity.homogeneity(events, hours).p_deviance
    place = f"all-quarters/{units.series}"
    found = tuple(
        WeighedUnit(
            unit=row.unit,
            name=row.name,
            rate=numbers.rate(f"weighed_rate/unit:{key_part(row.unit)}/{place}", float(shrunk.mean[i])),
            lower=numbers.rate(f"weighed_lower/unit:{key_part(row.unit)}/{place}", float(lower[i])),
            upper=numbers.rate(f"weighed_upper/unit:{key_part(row.unit)}/{place}", float(upper[i])),
            weight=numbers.share(
                f"weight_of_facility/unit:{key_part(row.unit)}/{place}", float(shrunk.weight_on_prior[i])
            ),
            among_highest=numbers.share(
                f"among_highest/unit:{key_part(row.unit)}/{place}", float(shrunk.worst_quarter[i])
            ),
            adjusted=numbers.p_value(f"p_adjusted/unit:{key_part(row.unit)}/{place}", float(against.adjusted[i])),
        )
        for i, row in enumerate(rows)
    )
    return UnitSpread(
        series=units.series,
        rows=found,
        same_rate=numbers.p_value(f"p_same_rate/units/{place}", same),
        differ=same < ALIKE_ABOVE and math.isfinite(shrunk.prior.shape),
        notes=shrunk.prior.notes,
        reason="",
    )
