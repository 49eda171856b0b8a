"""Late reports: how long cases take to be reported, and how many of the latest quarters are still to come."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.contrast import Estimate
from handling_review.evidence.numbers import Number
from handling_review.evidence.panel import Array
from handling_review.evidence.rates import RatesEvidence, Span
from handling_review.evidence.tables import ResultTables, Scope
from handling_review.program import Program
from handling_review.stats import nowcast

FEWEST_LAGS = 20  # cases with a day of report; with fewer the curve is a few steps. Common practice, no source
LATEST = 2
SLOW_DAYS = 7  # a report that takes longer than a week; common practice, no source


@dataclass(frozen=True)
class LagRow:
    """Days from event to report in one quarter (or "all"), recordable and first-aid cases together."""

    name: str
    cases: Number
    median: Number | None
    ninetieth: Number | None
    slow: Number | None
    no_day: Number


@dataclass(frozen=True)
class Nowcast:
    """One of the latest quarters: cases in the log, late ones expected, and the rate with them.

    ``in_the_log`` is the share of the quarter's cases that the facility's own lag lets expect in the log by now.
    """

    quarter: str
    reported: Number
    reported_rate: Number
    in_the_log: Number
    late: Estimate
    rate: Estimate


@dataclass(frozen=True)
class LateEvidence:
    """Lags by quarter and expected late cases of the primary series; ``reason`` why nothing is expected of them."""

    series: str
    rows: tuple[LagRow, ...]
    whole: LagRow
    nowcasts: tuple[Nowcast, ...]
    based_on: Number
    reason: str


def gather(tables: ResultTables, rate: RatesEvidence, scope: Scope, program: Program) -> LateEvidence:
    """Lags of all quarters; expected late cases of the latest two complete ones."""
    series = program.analysis.series
    rows = tuple(_lag_row(span.quarter, tables.lags[tables.lags["quarter"] == span.quarter]) for span in rate.quarters)
    curve = tables.lag_curve.sort_values("lag_days")
    based_on = int(curve["cases"].sum())
    reason = ""
    if based_on < FEWEST_LAGS:
        reason = f"fewer than {FEWEST_LAGS} recordable cases have a day of report"
    complete = [span for span in rate.quarters if span.is_complete]
    latest = [(span, rated) for span in complete[-LATEST:] if (rated := span.of(series).rate) is not None]
    return LateEvidence(
        series=series,
        rows=rows,
        whole=_lag_row("all quarters", tables.lags),
        nowcasts=()
        if reason
        else tuple(_nowcast(span, rated, curve, scope.as_of, series, program) for span, rated in latest),
        based_on=numbers.count("lag_cases/facility", based_on),
        reason=reason,
    )


def _lag_row(name: str, rows: pd.DataFrame) -> LagRow:
    cases = rows["recordable"].astype("int64") + rows["first_aid"].astype("int64")
    known = rows["lag_days"].notna()
    days = np.repeat(rows.loc[known, "lag_days"].to_numpy(dtype=np.float64), cases[known].to_numpy(dtype=np.int64))
    place = f"facility/{name.replace(' ', '-')}"
    has_days = days.size > 0

    def quantile(key: str, share: float) -> Number:
        return numbers.days(f"{key}/{place}", float(np.quantile(days, share, method="inverted_cdf")))

    return LagRow(
        name=name,
        cases=numbers.count(f"lag_cases/{place}", int(days.size)),
        median=quantile("lag_median", 0.5) if has_days else None,
        ninetieth=quantile("lag_ninetieth", 0.9) if has_days else None,
        slow=numbers.share(f"lag_slow/{place}", float((days > SLOW_DAYS).mean())) if has_days else None,
        no_day=numbers.count(f"lag_unknown/{place}", int(cases[~known].sum())),
    )


def _nowcast(span: Span, rated: Number, curve: pd.DataFrame, as_of: date, series: str, program: Program) -> Nowcast:
    own = span.of(series)
    days = (span.end - span.start).days + 1
    ages: Array = np.array([(as_of - (span.start + timedelta(days=i))).days for i in range(days)], dtype=np.float64)
    reported = int(own.events.value or 0)
    found = nowcast.late_cases(
        reported,
        ages,
        curve["lag_days"].to_numpy(dtype=np.float64),
        curve["cases"].to_numpy(dtype=np.float64),
        curve["reported_by_then"].to_numpy(dtype=np.float64),
        confidence=program.analysis.confidence,
    )
    place = f"facility/{span.quarter}/{series}"
    scale = 200_000 / float(own.hours.value or 0)

    # The range is of whole cases; a fraction of one that lies outside it is none of them.
    lower, upper = int(found.lower_late), int(found.upper_late)
    expected = min(max(found.expected_late, lower), upper)

    def rate(name: str, late: float) -> Number:
        return numbers.rate(f"{name}/{place}", (reported + late) * scale)

    return Nowcast(
        quarter=span.quarter,
        reported=own.events,
        reported_rate=rated,
        in_the_log=numbers.share(f"in_the_log/{place}", found.share_reported),
        late=Estimate(
            numbers.cases_avoided(f"late_cases/{place}", expected),
            numbers.count(f"late_cases_lower/{place}", lower),
            numbers.count(f"late_cases_upper/{place}", upper),
        ),
        rate=Estimate(
            rate("nowcast_rate", expected),
            rate("nowcast_lower", lower),
            rate("nowcast_upper", upper),
        ),
    )
