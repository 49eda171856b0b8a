"""One rate: cases, hours, the rate they make, its interval, and when it is withheld."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number
from handling_review.evidence.tally import Tally
from handling_review.program import Program
from handling_review.stats import rates as stats_rates


@dataclass(frozen=True)
class Rate:
    """Cases, hours and the rate they make, per 200,000 hours with its interval.

    ``rate`` and both limits are ``None`` when the rate is withheld; ``withheld`` is then the reason.
    With no case, or too few for a unit's rate, ``limit`` holds a one-sided upper limit instead of the
    two-sided interval. ``reliability`` is few, unstable or plain by the number of cases.
    """

    series: str
    events: Number
    hours: Number
    rate: Number | None
    lower: Number | None
    upper: Number | None
    limit: Number | None
    reliability: str
    withheld: str


def reliability(events: int, program: Program) -> str:
    """few, unstable or plain, by the program file's two thresholds."""
    if events < program.thresholds.unreliable_below:
        return "few"
    return "unstable" if events < program.thresholds.unstable_below else "plain"


def measure(
    place: str, series: str, tally: Tally, program: Program, *, withheld: str = "", hide_few: bool = False
) -> Rate:
    """The rate of one place and time; ``place`` is the middle of its key, such as ``facility/2025-Q3``.

    ``hide_few`` withholds a rate on few cases and leaves counts, hours and an upper limit (the rule for
    single units). The interval is the exact one; with no case the upper limit is one-sided.
    """
    end = f"{place}/{series}"
    trust = reliability(tally.events, program)
    if not withheld and tally.hours <= 0:
        withheld = "no hours worked"
    rate = lower = upper = limit = None
    if not withheld:
        level = program.analysis.confidence
        is_few = hide_few and trust == "few"
        if is_few:
            withheld = "too few cases for a rate"
        else:
            rate = numbers.rate(f"rate/{end}", stats_rates.rate(tally.events, tally.hours))
        if is_few or tally.events == 0:
            highest = stats_rates.upper_limit(tally.events, tally.hours, confidence=level)
            limit = numbers.rate(f"rate_limit/{end}", highest)
        else:
            interval = stats_rates.rate_interval(tally.events, tally.hours, confidence=level)
            lower = numbers.rate(f"rate_lower/{end}", interval.lower)
            upper = numbers.rate(f"rate_upper/{end}", interval.upper)
    return Rate(
        series=series,
        events=numbers.count(f"cases/{end}", tally.events),
        hours=numbers.hours(f"hours/{end}", tally.hours),
        rate=rate,
        lower=lower,
        upper=upper,
        limit=limit,
        reliability=trust,
        withheld=withheld,
    )
