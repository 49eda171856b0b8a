"""Early warning by month: a running sum that grows when cases come faster than twice the usual rate would excuse."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from handling_review.evidence import numbers
from handling_review.evidence.control import FEWEST_BASELINE
from handling_review.evidence.numbers import Number
from handling_review.stats import charts

DOUBLING = 2.0
QUIET_MONTHS = 120  # months to a false warning, all units together: ten years; common practice, no source
REFERENCE_QUARTERS = 8  # complete quarters before the latest two that say what is usual


@dataclass(frozen=True)
class Month:
    """One month: its cases, the running sum after it (in cases), and whether the warning speaks."""

    month: str
    events: Number
    running_sum: Number
    warns: bool


@dataclass(frozen=True)
class EarlyWarning:
    """The early warning of one place, or the ``reason`` why there is none.

    ``usual`` is the rate that is doubled, from the quarters ``reference``; for a unit it is drawn towards the rate of
    all units. The warning speaks where the sum reaches ``threshold`` cases. ``quiet_months`` is how many months pass on
    average to a false warning, ``found_after`` to one of a true doubling. ``now`` are the months of the latest two
    quarters in which it speaks.
    """

    place: str
    name: str
    reference: tuple[str, ...] = ()
    usual: Number | None = None
    threshold: Number | None = None
    quiet_months: Number | None = None
    found_after: Number | None = None
    months: tuple[Month, ...] = ()
    now: tuple[str, ...] = ()
    reason: str = ""


def reference_quarters(complete: Sequence[str], latest: int, started_in: str | None) -> tuple[str, ...]:
    """The quarters that say what is usual: up to eight before the latest, after the start if four of them are."""
    before = tuple(complete[:-latest])[-REFERENCE_QUARTERS:]
    since = tuple(q for q in before if started_in is not None and q > started_in)
    return since if len(since) >= FEWEST_BASELINE else before


def warning(
    place: str,
    name: str,
    series: str,
    months: Sequence[tuple[str, str, int, float]],
    reference: tuple[str, ...],
    latest: tuple[str, ...],
    usual_per_200k: float,
    quiet_months: float,
) -> EarlyWarning:
    """The early warning over months given as (month, quarter, cases, hours), in order, from the reference on."""
    first = min(reference, default="")
    kept = [month for month in months if month[3] > 0 and month[1] >= first]
    if len(reference) < FEWEST_BASELINE or not kept:
        return EarlyWarning(place, name, reason=f"fewer than {FEWEST_BASELINE} complete quarters to say what is usual")
    if not usual_per_200k > 0:
        return EarlyWarning(place, name, reason="no case in the quarters that say what is usual")
    events = np.array([float(month[2]) for month in kept])
    hours = np.array([month[3] for month in kept])
    found = charts.poisson_cusum(
        events, hours, usual_per_200k, DOUBLING, periods_between_false_alarms=float(quiet_months)
    )
    end = f"{place}/{series}"
    points = tuple(
        Month(
            month=month,
            events=numbers.count(f"warning_cases/{end}/{month}", cases),
            running_sum=numbers.cases_avoided(f"warning_sum/{end}/{month}", float(found.statistic[i])),
            warns=bool(found.signal[i]),
        )
        for i, (month, _, cases, _) in enumerate(kept)
    )
    return EarlyWarning(
        place=place,
        name=name,
        reference=reference,
        usual=numbers.rate(f"warning_usual/{end}", usual_per_200k),
        threshold=numbers.cases_avoided(f"warning_at/{end}", found.threshold),
        quiet_months=_months(f"warning_quiet/{end}", found.in_control_run_length),
        found_after=_months(f"warning_found_after/{end}", found.changed_run_length),
        months=points,
        now=tuple(
            month for (month, quarter, _, _), point in zip(kept, points, strict=True)
            if point.warns and quarter in latest
        ),
    )  # fmt: skip


def _months(key: str, value: float) -> Number | None:
    return numbers.count(key, round(value), "months") if math.isfinite(value) else None
