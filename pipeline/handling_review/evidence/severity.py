"""How long people are away or restricted: days per 200,000 hours, with and without the longest case."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.contrast import Estimate
from handling_review.evidence.numbers import Number
from handling_review.evidence.rates import RatesEvidence, four_to
from handling_review.evidence.tables import ResultTables
from handling_review.program import Program
from handling_review.stats import proportions, severity

OUTCOMES = ("death", "days_away", "restricted_or_transfer", "other_recordable")
KINDS = ("recordable", "handling")
NEAR_CAP = 150  # days: within a month of the 180 at which counting may stop (29 CFR 1904.7)
CAP = 180
RECENT, BEFORE, ALL = "last four quarters", "the four before", "all complete quarters"


@dataclass(frozen=True)
class SeverityRow:
    """Days lost (away and restricted together) of one kind of case in one window.

    ``days_rate`` and ``without_longest`` are days per 200,000 hours with their intervals; ``None`` without any case
    that cost a day, since nothing is known then of how long a case would be.
    """

    window: str
    kind: str
    cases: Number
    days: Number
    longest: Number
    hours: Number
    days_rate: Estimate | None
    without_longest: Estimate | None


@dataclass(frozen=True)
class OutcomeShare:
    """Recordable cases of one outcome in one window, and their share with Wilson's interval."""

    window: str
    outcome: str
    cases: Number
    share: Estimate | None


@dataclass(frozen=True)
class SeverityEvidence:
    """Days lost and outcomes by window; cases whose count of days may still change, over all complete quarters."""

    rows: tuple[SeverityRow, ...]
    outcomes: tuple[OutcomeShare, ...]
    still_counting: Number
    no_days: Number
    near_cap: Number
    at_cap: Number

    def of(self, window: str, kind: str) -> SeverityRow | None:
        """One row; ``None`` if there is no such window."""
        return {(row.window, row.kind): row for row in self.rows}.get((window, kind))


def gather(tables: ResultTables, rate: RatesEvidence, program: Program) -> SeverityEvidence:
    """The last four complete quarters, the four before them, and all."""
    complete = rate.complete()
    hours = {span.quarter: float(span.of("recordable").hours.value or 0) for span in rate.quarters}
    known = tables.case_days[tables.case_days["quarter"].isin(list(complete))]
    windows = {ALL: complete} if complete else {}
    if complete and set(four_to(complete[-1])) <= set(complete):
        recent = four_to(complete[-1])
        before = tuple(q for q in complete if q < recent[0])[-4:]
        windows = {RECENT: recent, **({BEFORE: before} if len(before) == 4 else {}), **windows}
    rows, outcomes = [], []
    for window, quarters in windows.items():
        inside = known[known["quarter"].isin(list(quarters))]
        time = math.fsum(hours[quarter] for quarter in quarters)
        for kind in KINDS:
            own = inside if kind == "recordable" else inside[inside["is_handling"]]
            rows.append(_row(window, kind, own, time, program))
        outcomes += _outcomes(window, inside, program)
    return SeverityEvidence(
        rows=tuple(rows),
        outcomes=tuple(outcomes),
        still_counting=_cases("still_counting", known[known["is_counting"]]),
        no_days=_cases("no_days", known[known["is_blank"]]),
        near_cap=_cases("near_cap", known[known["days"].between(NEAR_CAP, CAP - 1)]),
        at_cap=_cases("at_cap", known[known["days"] >= CAP]),
    )


def _cases(name: str, rows: pd.DataFrame) -> Number:
    return numbers.count(f"cases_{name}/facility", int(rows["cases"].sum()))


def _row(window: str, kind: str, rows: pd.DataFrame, hours: float, program: Program) -> SeverityRow:
    lost = rows[rows["days"] > 0]
    days = np.repeat(lost["days"].to_numpy(dtype=np.float64), lost["cases"].to_numpy(dtype=np.int64))
    place = f"{window.replace(' ', '-')}/{kind}"
    found = severity.compound_rate(days, hours, program.analysis.confidence) if days.size and hours > 0 else None

    def per(name: str, value: float) -> Number:
        return numbers.days_rate(f"{name}/{place}", value)

    whole = rest = None
    if found is not None:
        whole = Estimate(
            per("days_rate", found.rate_per_200k), per("days_lower", found.lower), per("days_upper", found.upper)
        )
    if found is not None and days.size > 1:
        rest = Estimate(
            per("days_rate_without_longest", found.without_longest),
            per("days_lower_without_longest", found.without_longest_lower),
            per("days_upper_without_longest", found.without_longest_upper),
        )
    return SeverityRow(
        window=window,
        kind=kind,
        cases=numbers.count(f"cases_with_days/{place}", int(days.size)),
        days=numbers.count(f"days_lost/{place}", int(days.sum()), "days"),
        longest=numbers.count(f"days_longest/{place}", int(days.max()) if days.size else 0, "days"),
        hours=numbers.hours(f"hours_severity/{place}", hours),
        days_rate=whole,
        without_longest=rest,
    )


def _outcomes(window: str, rows: pd.DataFrame, program: Program) -> list[OutcomeShare]:
    counts = {outcome: int(rows.loc[rows["outcome"] == outcome, "cases"].sum()) for outcome in OUTCOMES}
    whole = sum(counts.values())
    found = []
    for outcome, cases in counts.items():
        place = f"{window.replace(' ', '-')}/{outcome}"
        share = None
        if whole:
            limits = proportions.wilson(cases, whole, program.analysis.confidence)
            share = Estimate(
                numbers.share(f"outcome_share/{place}", limits.estimate),
                numbers.share(f"outcome_share_lower/{place}", limits.lower),
                numbers.share(f"outcome_share_upper/{place}", limits.upper),
            )
        found.append(OutcomeShare(window, outcome, numbers.count(f"outcome_cases/{place}", cases), share))
    return found
