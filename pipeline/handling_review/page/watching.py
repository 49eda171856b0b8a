"""Signal or noise: the finding of the control charts and early warnings, with its tables."""

from __future__ import annotations

from handling_review.evidence.assemble import Review
from handling_review.evidence.control import Chart, ChartPoint, Wait
from handling_review.evidence.early_warning import EarlyWarning
from handling_review.page.figures_watch import charts_picture
from handling_review.page.numbered import Counter, Finding
from handling_review.page.sentence import listed, say, spoken
from handling_review.page.tables import Cell, Column, Table
from handling_review.page.words import watch as words
from handling_review.page.words.rates import SERIES_NAME, upper

_MONTHS = 24


def facility_table(chart: Chart, series: str) -> Table | None:
    """The points of the facility's chart; none where there is no chart."""
    if chart.kind == "days_between":
        return _waits_table((chart,), "Days between cases in the whole facility")
    if not chart.points:
        return None
    return Table(
        f"{upper(SERIES_NAME[series])} by quarter with limits of chance, per 200,000 hours",
        (
            Column("Quarter", "label"),
            Column("Cases", "number"),
            Column("Rate", "number"),
            Column("Centre", "number"),
            Column("Lower limit", "number"),
            Column("Upper limit", "number"),
            Column("Remark"),
        ),
        tuple((p.quarter, p.events, p.rate, chart.centre, p.lower, p.upper, _remark(p)) for p in chart.points),
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
    if len(found.units) < 2:
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
        (words.UNIT_CHARTS_NOTE,),
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
    """Points of all charts by quarter of units: paper and a page without scripts draw none that is to be picked."""
    charts = [chart for chart in review.watch.units if chart.points]
    if not charts:
        return None
    return Table(
        "Charts of units by quarter, per 200,000 hours",
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
            for p in chart.points
        ),
    )


def unit_waits_table(review: Review) -> Table | None:
    """Points of all charts of days between cases of units."""
    charts = tuple(chart for chart in review.watch.units if chart.waits)
    if not charts:
        return None
    return _waits_table(charts, "Days between cases by unit")


def _waits_table(charts: tuple[Chart, ...], caption: str) -> Table:
    return Table(
        caption,
        (
            Column("Place"),
            Column("Case", "number"),
            Column("Quarter", "label"),
            Column("Days", "number"),
            Column("Centre", "number"),
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
                chart.centre,
                chart.lower,
                chart.upper,
                _remark(wait),
            )
            for chart in charts
            for wait in chart.waits
        ),
        (words.WAITS_NOTE,),
    )


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
    by_unit = (unit_points_table(review), unit_waits_table(review)) if len(found.units) > 1 else ()
    folded = (*by_unit, months_table(found.warning))
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
        words.signals_how(found, review),
        tuple(table for table in folded if table is not None),
    )
