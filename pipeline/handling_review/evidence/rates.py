"""Injury rates per 200,000 hours: by quarter, over four quarters, for the facility and for each unit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from handling_review.evidence.contrast import Contrast, contrast
from handling_review.evidence.measure import Rate, measure
from handling_review.evidence.numbers import key_part
from handling_review.evidence.quarters import previous
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.tally import ALL_SERIES, SERIES, PersonTime, Tally
from handling_review.program import Program


@dataclass(frozen=True)
class Span:
    """Rates of all series over one quarter, or over the four quarters that end with it."""

    quarter: str
    start: date
    end: date
    is_complete: bool
    is_provisional: bool
    reason: str
    rates: tuple[Rate, ...]

    def of(self, series: str) -> Rate:
        """The rate of one series; ``KeyError`` if it is not there."""
        return {rate.series: rate for rate in self.rates}[series]


@dataclass(frozen=True)
class UnitQuarter:
    """Rates of one unit in one quarter."""

    unit: str
    quarter: str
    is_complete: bool
    reason: str
    rates: tuple[Rate, ...]


@dataclass(frozen=True)
class RatesEvidence:
    """Rates over time. ``latest`` is the latest complete quarter, ``recent`` the four that end with it.

    ``comparisons`` set the latest quarter against the same quarter a year before and against the quarter
    before it, and the last four quarters against the four before them, for the primary series.
    """

    quarters: tuple[Span, ...]
    rolling: tuple[Span, ...]
    unit_quarters: tuple[UnitQuarter, ...]
    latest: Span | None
    recent: Span | None
    comparisons: tuple[Contrast, ...]

    def complete(self) -> tuple[str, ...]:
        """The complete quarters in order."""
        return tuple(span.quarter for span in self.quarters if span.is_complete)


def gather(tables: ResultTables, program: Program) -> RatesEvidence:
    """Rates by quarter, rolling four quarters and unit. Cases and hours are added first, divided last."""
    by_quarter = PersonTime(tables.person_time).by("quarter")
    spans = tuple(
        Span(
            quarter=str(row.quarter),
            start=as_date(row.quarter_start),
            end=as_date(row.quarter_end),
            is_complete=bool(row.is_complete),
            is_provisional=bool(row.is_complete) and not bool(row.is_mature),
            reason=str(row.reason),
            rates=tuple(
                measure(
                    f"facility/{row.quarter}",
                    series,
                    by_quarter.get((row.quarter, series), Tally()),
                    program,
                    withheld="" if row.is_complete else str(row.reason) or "incomplete",
                )
                for series in ALL_SERIES
            ),
        )
        for row in tables.quarters.sort_values("quarter").itertuples()
    )
    rolling = _rolling(spans, by_quarter, program)
    complete = [span for span in spans if span.is_complete]
    latest = complete[-1] if complete else None
    recent = next((span for span in rolling if latest and span.quarter == latest.quarter), None)
    if recent is not None and not recent.is_complete:
        recent = None
    return RatesEvidence(
        quarters=spans,
        rolling=rolling,
        unit_quarters=_unit_quarters(tables, program),
        latest=latest,
        recent=recent,
        comparisons=_comparisons(spans, by_quarter, program),
    )


def as_date(value: object) -> date:
    """The calendar day of a date or timestamp."""
    return date.fromisoformat(str(value)[:10])


def four_to(quarter: str) -> tuple[str, ...]:
    """The four quarters that end with this one, oldest first."""
    return tuple(previous(quarter, steps) for steps in (3, 2, 1, 0))


def _rolling(
    spans: tuple[Span, ...], by_quarter: Mapping[tuple[object, ...], Tally], program: Program
) -> tuple[Span, ...]:
    known = {span.quarter: span for span in spans}
    found = []
    for span in spans:
        names = four_to(span.quarter)
        if any(name not in known for name in names):
            continue
        gaps = [name for name in names if not known[name].is_complete]
        reason = f"incomplete: {', '.join(gaps)}" if gaps else ""
        rates = tuple(
            measure(
                _place(names),
                series,
                total(by_quarter, names, series),
                program,
                withheld=reason,
            )
            for series in ALL_SERIES
        )
        is_provisional = not gaps and any(known[name].is_provisional for name in names)
        start = known[names[0]].start
        found.append(Span(span.quarter, start, span.end, not gaps, is_provisional, reason, rates))
    return tuple(found)


def total(tallies: Mapping[tuple[object, ...], Tally], quarters: tuple[str, ...], series: str) -> Tally:
    """Cases and hours of several quarters together."""
    whole = Tally()
    for quarter in quarters:
        whole = whole + tallies.get((quarter, series), Tally())
    return whole


def _unit_quarters(tables: ResultTables, program: Program) -> tuple[UnitQuarter, ...]:
    by_unit = PersonTime(tables.person_time).by("unit", "quarter")
    firm = set(tables.quarters.loc[tables.quarters["is_complete"].astype(bool), "quarter"])
    found = []
    for row in tables.unit_quarters.sort_values(["unit", "quarter"]).itertuples():
        is_complete = bool(row.is_complete) and row.quarter in firm
        reason = "" if is_complete else str(row.reason) or "the facility's quarter is incomplete"
        rates = tuple(
            measure(
                f"unit:{key_part(str(row.unit))}/{row.quarter}",
                series,
                by_unit.get((row.unit, row.quarter, series), Tally()),
                program,
                withheld=reason,
                hide_few=True,
            )
            for series in SERIES
        )
        found.append(UnitQuarter(str(row.unit), str(row.quarter), is_complete, reason, rates))
    return tuple(found)


def _comparisons(
    spans: tuple[Span, ...], by_quarter: Mapping[tuple[object, ...], Tally], program: Program
) -> tuple[Contrast, ...]:
    series = program.analysis.series
    complete = {span.quarter for span in spans if span.is_complete}
    if not complete:
        return ()
    latest = max(complete)
    year_ago = previous(latest, 4)
    pairs = (
        ("same_quarter_last_year", (latest,), (year_ago,)),
        ("quarter_before", (latest,), (previous(latest, 1),)),
        ("four_quarters_before", four_to(latest), four_to(year_ago)),
    )
    return tuple(
        contrast(
            f"facility/{latest}/{name}",
            name,
            measure(_place(now), series, total(by_quarter, now, series), program),
            measure(_place(then), series, total(by_quarter, then, series), program),
            program,
            labels=(_label(now), _label(then)),
        )
        for name, now, then in pairs
        if complete.issuperset(now) and complete.issuperset(then)
    )


def _place(quarters: tuple[str, ...]) -> str:
    """The middle of a key; the same place as in the rates by quarter, so that the numbers are the same."""
    return f"facility/{quarters[0] if len(quarters) == 1 else f'four-quarters-to-{quarters[-1]}'}"


def _label(quarters: tuple[str, ...]) -> str:
    return quarters[0] if len(quarters) == 1 else f"{quarters[0]} to {quarters[-1]}"
