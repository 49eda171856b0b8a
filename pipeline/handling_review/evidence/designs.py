"""The designs that can answer "did it work?", on arrays alone, and the rule that picks the one to lead with.

Nothing here knows of files or pages, so that a simulation with known truth can ask the same functions.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from handling_review.evidence import designs_by_person, designs_by_unit
from handling_review.evidence.panel import (
    ADJUSTED,
    BEFORE_AFTER,
    COMPARISON,
    CONTROL,
    FASTEST_BACKGROUND_FALL,
    INTERRUPTED,
    LADDER,
    STAGGERED,
    TREND_PROOF,
    WITHIN,
    Designed,
    Panel,
    Personal,
)

BY_PERSON: Mapping[str, Callable[[Personal, float], Designed]] = {
    BEFORE_AFTER: designs_by_person.before_after,
    CONTROL: designs_by_person.negative_control,
    WITHIN: designs_by_person.within_quarter,
}
BY_UNIT: Mapping[str, Callable[[Panel, float], Designed]] = {
    COMPARISON: designs_by_unit.comparison,
    INTERRUPTED: designs_by_unit.interrupted,
    ADJUSTED: designs_by_unit.adjusted,
    STAGGERED: designs_by_unit.staggered,
}


def all_designs(panel: Panel, personal: Personal, confidence: float) -> dict[str, Designed]:
    """Every design by name; those that cannot be computed say why in ``reason``."""
    found = {name: design(personal, confidence) for name, design in BY_PERSON.items()}
    found |= {name: design(panel, confidence) for name, design in BY_UNIT.items()}
    return {name: found[name] for name in LADDER}


def choose_primary(found: Mapping[str, Designed], wanted: str = "strongest") -> str:
    """Which design leads: the one the program file fixed, or the strongest that the hours can carry.

    Strongest: of the designs that a change common to all units cannot fool, the one with the smallest expected error;
    if none of them could show a fall of four fifths, the model with unit effects and a steady yearly change; if that
    could not either, whichever of them errs least. Before and after alone leads only where no other can be computed.
    The rule reads hours and the total of cases, never which side the cases fell on.
    """
    if wanted != "strongest":
        return wanted
    strong = [name for name in TREND_PROOF if not found[name].reason]
    usable = [name for name in strong if found[name].is_usable]
    if usable:
        return min(usable, key=lambda name: found[name].expected_error)
    if found[ADJUSTED].is_usable:
        return ADJUSTED
    left = [*strong, *(name for name in (ADJUSTED,) if not found[name].reason)]
    return min(left, key=lambda name: found[name].expected_error) if left else BEFORE_AFTER


def background_ratio(design: str, years_apart: float) -> float:
    """The ratio that a design must fall below to say "lower": 1, or what a national fall alone could give.

    Before and after alone cannot tell a program from a general fall, so it is held to the fastest general fall.
    """
    is_exposed = design == BEFORE_AFTER and math.isfinite(years_apart) and years_apart > 0
    return (1 - FASTEST_BACKGROUND_FALL) ** years_apart if is_exposed else 1.0
