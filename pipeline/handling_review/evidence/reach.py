"""What a comparison could have shown: the smallest fall it would find, where its answer would turn."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from handling_review.evidence import numbers
from handling_review.evidence.contrast import HIGHER, LOWER, Contrast, Estimate, direction_of, estimate
from handling_review.evidence.numbers import Number
from handling_review.program import Program
from handling_review.stats import casemix, power, ratios

POWER = 0.8  # four times in five: the usual level at which a study is planned


@dataclass(frozen=True)
class TurningPoint:
    """The cases on the later side at which the answer would turn, all else as it is.

    ``lower_at_most``: with this many cases or fewer the answer is lower (``None``: not even with none);
    ``higher_at_least``: with this many or more it is higher.
    """

    lower_at_most: Number | None
    higher_at_least: Number


@dataclass(frozen=True)
class Reach:
    """What these hours could have shown, four times in five.

    ``smallest_fall`` is the smallest fall of the rate, as a share, that would be found (``None``: not even a
    fall to nothing); ``quarters_needed`` is how many more quarters of trained hours it takes to find the
    target reduction (0: the hours are there; ``None``: no number of quarters is enough).
    """

    smallest_fall: Number | None
    quarters_needed: Number | None
    target_fall: Number


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


def reach(item: Contrast, hours_per_quarter: float, program: Program) -> Reach | None:
    """What the comparison could have shown; ``None`` without a ratio or without cases before.

    ``hours_per_quarter`` is what a coming quarter adds to the later side.
    """
    events0, hours0 = int(item.then.events.value or 0), float(item.then.hours.value or 0)
    hours1 = float(item.now.hours.value or 0)
    if item.ratio is None or not events0:
        return None
    alpha, target = 1 - program.analysis.confidence, program.analysis.target_reduction
    fall = power.smallest_detectable(events0, hours1 / hours0, POWER, alpha)
    quarters = math.inf
    if hours_per_quarter > 0:
        found = power.quarters_needed(events0, hours0, hours1, hours_per_quarter, 1 - target, POWER, alpha)
        quarters = found.quarters_still_needed
    end = item.key.removeprefix("ratio/")
    return Reach(
        smallest_fall=None if math.isnan(fall) else numbers.share(f"smallest_fall/{end}", fall),
        quarters_needed=None
        if math.isinf(quarters)
        else numbers.count(f"quarters_needed/{end}", round(quarters), "quarters"),
        target_fall=numbers.share("setting/target_reduction", target),
    )


def against(item: Contrast, other: Contrast, program: Program) -> Estimate | None:
    """The change of one series over the change of another on the same hours: a ratio of ratios.

    The hours cancel, so what moves both alike (reporting, how hours are counted) cancels too. ``None`` where
    either ratio is missing or the table of cases cannot give one.
    """
    if item.ratio is None or other.ratio is None:
        return None
    found = casemix.ratio_of_ratios(
        int(item.now.events.value or 0),
        int(item.then.events.value or 0),
        int(other.now.events.value or 0),
        int(other.then.events.value or 0),
        confidence=program.analysis.confidence,
    )
    if not math.isfinite(found.estimate):
        return None
    end = f"{item.key.removeprefix('ratio/')}/against/{other.series}"
    return estimate(numbers.ratio, "ratio", end, found.estimate, found.lower, found.upper)
