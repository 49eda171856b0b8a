"""Two rates set against each other: ratio, difference, cases avoided, and the word that follows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from handling_review.evidence import numbers
from handling_review.evidence.measure import Rate
from handling_review.evidence.numbers import Number
from handling_review.program import Program
from handling_review.stats import ratios

LOWER, HIGHER, CANNOT_TELL = "lower", "higher", "cannot_tell"
FEW_CASES, NO_DATA, COUNTS_ONLY = "few_cases", "no_data", "counts_only"


@dataclass(frozen=True)
class Estimate:
    """An estimate with its interval."""

    value: Number
    lower: Number
    upper: Number


@dataclass(frozen=True)
class Contrast:
    """A rate (``now``) set against another (``then``), both with cases and hours.

    ``ratio`` is now / then; ``difference`` is now - then per 200,000 hours; ``avoided`` is the number of
    cases by which ``now`` fell short of what the rate of ``then`` gives on the same hours (negative: more).
    All three are ``None`` when ``verdict`` is no_data or counts_only. ``direction`` is where the interval of
    the ratio lies (lower, higher, cannot_tell) and equals ``verdict`` unless the cases are few.
    ``key`` is the key of the ratio.
    """

    key: str
    name: str
    series: str
    labels: tuple[str, str]
    now: Rate
    then: Rate
    ratio: Estimate | None
    difference: Estimate | None
    avoided: Estimate | None
    direction: str
    verdict: str


def contrast(
    place: str,
    name: str,
    now: Rate,
    then: Rate,
    program: Program,
    *,
    labels: tuple[str, str],
    counts_only: bool = False,
) -> Contrast:
    """Set ``now`` against ``then``; ``place`` is the middle of the keys, before the series.

    The ratio has the mid-P conditional interval, the difference and the cases avoided their MOVER interval
    from the same mid-P limits. Few cases means fewer than ``thresholds.unreliable_below`` on either side.
    """
    end = f"{place}/{now.series}"
    blank = Contrast(
        key=f"ratio/{end}",
        name=name,
        series=now.series,
        labels=labels,
        now=now,
        then=then,
        ratio=None,
        difference=None,
        avoided=None,
        direction=CANNOT_TELL,
        verdict=COUNTS_ONLY if counts_only else NO_DATA,
    )
    events1, hours1 = int(now.events.value or 0), float(now.hours.value or 0)
    events0, hours0 = int(then.events.value or 0), float(then.hours.value or 0)
    if counts_only or hours1 <= 0 or hours0 <= 0:
        return blank
    level = program.analysis.confidence
    ratio = ratios.rate_ratio(events1, hours1, events0, hours0, confidence=level)
    gap = ratios.rate_difference(events1, hours1, events0, hours0, confidence=level)
    fewer = ratios.cases_avoided(events1, hours1, events0, hours0, confidence=level)
    direction = direction_of(float(ratio.lower), float(ratio.upper))
    is_few = min(events1, events0) < program.thresholds.unreliable_below
    return replace(
        blank,
        ratio=estimate(numbers.ratio, "ratio", end, ratio.estimate, ratio.lower, ratio.upper),
        difference=estimate(numbers.difference, "difference", end, gap.estimate, gap.lower, gap.upper),
        avoided=estimate(numbers.cases_avoided, "cases_avoided", end, fewer.estimate, fewer.lower, fewer.upper),
        direction=direction,
        verdict=FEW_CASES if is_few else direction,
    )


def direction_of(lower: float, upper: float) -> str:
    """lower or higher when an interval of a ratio leaves out 1, else cannot_tell.

    The limits are read at the two decimals they are printed with: a printed limit of 1.00 leaves 1 in.
    """
    if round(upper, 2) < 1:
        return LOWER
    return HIGHER if round(lower, 2) > 1 else CANNOT_TELL


def estimate(
    make: Callable[[str, float], Number], kind: str, end: str, value: float, lower: float, upper: float
) -> Estimate:
    """An estimate with its limits, keyed ``kind/end``, ``kind_lower/end`` and ``kind_upper/end``."""
    return Estimate(
        make(f"{kind}/{end}", float(value)),
        make(f"{kind}_lower/{end}", float(lower)),
        make(f"{kind}_upper/{end}", float(upper)),
    )
