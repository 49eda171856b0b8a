"""Where the answer of a comparison would turn: the cases that would make it another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from handling_review.evidence import numbers
from handling_review.evidence.contrast import HIGHER, LOWER, Contrast, direction_of
from handling_review.evidence.numbers import Number
from handling_review.program import Program
from handling_review.stats import ratios


@dataclass(frozen=True)
class TurningPoint:
    """The cases on the later side at which the answer would turn, all else as it is.

    ``lower_at_most``: with this many cases or fewer the answer is lower (``None``: not even with none);
    ``higher_at_least``: with this many or more it is higher.
    """

    lower_at_most: Number | None
    higher_at_least: Number


def turning_point(item: Contrast, program: Program) -> TurningPoint | None:
    """Where the answer of a comparison would turn; ``None`` where there is no ratio."""
    if item.ratio is None:
        return None
    hours1, hours0 = float(item.now.hours.value or 0), float(item.then.hours.value or 0)
    events0, level = int(item.then.events.value or 0), program.analysis.confidence

    def answer(events1: int) -> str:
        found = ratios.rate_ratio(events1, hours1, events0, hours0, confidence=level)
        return direction_of(found.lower, found.upper)

    # Both limits rise with the cases, so the answer goes once from lower over cannot tell to higher.
    top = 8
    while answer(top) != HIGHER:
        top *= 2
    first_not_lower = _first(lambda events: answer(events) != LOWER, top)
    first_higher = _first(lambda events: answer(events) == HIGHER, top)
    end = item.key.removeprefix("ratio/")
    return TurningPoint(
        numbers.count(f"lower_at_most/{end}", first_not_lower - 1) if first_not_lower else None,
        numbers.count(f"higher_at_least/{end}", first_higher),
    )


def _first(holds: Callable[[int], bool], top: int) -> int:
    """The smallest count from 0 to ``top`` from which on a condition holds; it holds at ``top``."""
    low, high = 0, top
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle + 1, high)
    return low
