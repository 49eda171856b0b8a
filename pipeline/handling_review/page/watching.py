"""Signal or noise: the finding of the control charts and early warnings, with its tables."""

from __future__ import annotations

from handling_review.evidence.assemble import Review
from handling_review.evidence.control import Chart, ChartPoint, Wait
from handling_review.evidence.early_warning import EarlyWarning
from handling_review.page.figures_watch import charts_picture
from handling_review.page.numbered import Counter, Finding, spoken
from handling_review.page.sentence import listed, say
from handling_review.page.tables import Cell, Column, Table
from handling_review.page.words import watch as words
from handling_review.page.words.rates import SERIES_NAME, upper

_MOST_ROWS = 400  # points of units on the page; beyond it only the latest eight of each, all in the tables folder
_LATEST_ROWS = 8
_MONTHS = 24


def facility_table(chart: Chart, series: str) -> Table | None:
    """The points of the facility's chart; none where there is no chart."""
    if chart.kind == "days_between":
        return _waits_table((chart,), "Days between cases in the whole facility", len(chart.waits))
    if not chart.points:
        return None
    return Table(
        f"{upper(SERIES_NAME[series])} by quarter with limits of chance, per 200,000 hours",
        (
            Column("Quarter", "label"),
            Column("Cases", "number"),
            Column("Rate", "number"),
            Column("Lower limit", "number"),
            Column("Upper limit", "number"),
            Column("Remark"),
        ),
        tuple((p.quarter, p.events, p.rate, p.lower, p.upper, _remark(p)) for p in chart.points),
    )


def _remark(point: ChartPoint | Wait) -> str:
    return "; ".join(
        [
            *(["makes the centre line"] if point.in_baseline else []),
            *(["provisional"] if isinstance(point, ChartPoint) and point.is_provisional else []),
            *(["has not ended"] if isinstance(point, Wait) and point.is_open else []),
            *words.signal_words(point.signals),
        ]
    )


def units_table(review: Review) -> Table | None:
    """Each unit's chart and early warning in one row, in alphabetical order."""
    found = review.watch
    if not found.units:
        return None
    warnings = {warning.place: warning for warning in found.unit_warnings}
    return Table(
        "Charts and early warnings by unit, latest two quarters",
        (
            Column("Unit (alphabetical)"),
            Column("Chart"),
            Column("Centre", "number"),
            Column("Signals now"),
            Column("Early warning"),
        ),
        tuple(
            (
                chart.name,
                words.kind_words(chart),
                _centre(chart),
                words.now_words(chart),
                _warning_words(warnings[chart.place]),
            )
            for chart in found.units
        ),
        (
            "Rates by quarter: per 200,000 hours. Where fewer than two cases are expected a quarter, the days from one "
            "case to the next are charted instead. No chart is drawn of fewer than five.",
        ),
    )


def _centre(chart: Chart) -> Cell:
    if chart.centre is None:
        return ""
    return say(chart.centre, " days") if chart.kind == "days_between" else chart.centre


def _warning_words(found: EarlyWarning) -> str:
    if found.reason:
        return f"none: {found.reason}"
    return f"speaks in {listed(found.now)}" if found.now else "silent"


def unit_points_table(review: Review) -> Table | None:
    """Points of all charts by quarter of units."""
    charts = [chart for chart in review.watch.units if chart.points]
    if not charts:
        return None
    kept = _kept([len(chart.points) for chart in charts])
    return Table(
        "Charts of units by quarter, per 200,000 hours" + _cut(kept),
        (
            Column("Unit"),
            Column("Quarter", "label"),
            Column("Cases", "number"),
            Column("Rate", "number"),
            Column("Lower limit", "number"),
            Column("Upper limit", "number"),
            Column("Remark"),
        ),
        tuple(
            (chart.name, p.quarter, p.events, p.rate, p.lower, p.upper, _remark(p))
            for chart in charts
            for p in chart.points[-kept:]
        ),
    )


def unit_waits_table(review: Review) -> Table | None:
    """Points of all charts of days between cases of units."""
    charts = tuple(chart for chart in review.watch.units if chart.waits)
    if not charts:
        return None
    kept = _kept([len(chart.waits) for chart in charts])
    return _waits_table(charts, "Days between cases by unit" + _cut(kept), kept)


def _waits_table(charts: tuple[Chart, ...], caption: str, kept: int) -> Table:
    return Table(
        caption,
        (
            Column("Place"),
            Column("Case", "number"),
            Column("Quarter", "label"),
            Column("Days", "number"),
            Column("Lower limit", "number"),
            Column("Upper limit", "number"),
            Column("Remark"),
        ),
        tuple(
            (
                chart.name,
                "" if wait.is_open else str(wait.position),
                wait.quarter,
                wait.days,
                chart.lower,
                chart.upper,
                _remark(wait),
            )
            for chart in charts
            for wait in chart.waits[-kept:]
        ),
        (
            "Days from the case before to this one, in the order of the cases. Dates give whole days, so a wait "
            "counts as too short only if a day more would still be. The wait since the last case is cut to whole "
            "weeks, since to the day it would give away the day of each case.",
        ),
    )


def _kept(sizes: list[int]) -> int:
    return max(sizes) if sum(sizes) <= _MOST_ROWS else _LATEST_ROWS


def _cut(kept: int) -> str:
    return f", latest {kept}; all of them in the tables folder" if kept == _LATEST_ROWS else ""


def months_table(found: EarlyWarning) -> Table | None:
    """The facility's early warning over the latest months."""
    if not found.months:
        return None
    return Table(
        "Early warning of the whole facility by month",
        (
            Column("Month", "label"),
            Column("Cases", "number"),
            Column("Running sum, cases", "number"),
            Column("Speaks"),
        ),
        tuple((m.month, m.events, m.running_sum, "yes" if m.warns else "no") for m in found.months[-_MONTHS:]),
    )


def finding(review: Review, count: Counter) -> Finding:
    """The numbered finding for the committee."""
    found = review.watch
    shown = (facility_table(found.facility, found.series), units_table(review))
    folded = (unit_points_table(review), unit_waits_table(review), months_table(found.warning))
    return count.finding(
        "signals",
        "Signal or noise",
        spoken(
            words.signal_sentence(found.facility, found.series),
            words.warning_sentence(found.warning),
            words.units_sentence(found, review.chart_study),
            words.false_sentence(found),
        ),
        charts_picture(review),
        tuple(table for table in shown if table is not None),
        spoken(
            words.baseline_sentence(found.facility),
            *(say(text) for text in words.RULES_EXPLAINED),
            words.reference_sentence(found.warning),
            words.unit_warning_sentence(found),
            words.study_sentence(review.chart_study),
            say(
                "A point of a unit's chart can stand on very few cases. It is read against the limits and its "
                "neighbours, never by itself as the unit's rate."
            ),
            *(say(f"{upper(text)}.") for text in found.facility.notes),
        ),
        tuple(table for table in folded if table is not None),
    )
