"""Flat rows of what is watched from quarter to quarter: charts, warnings, tasks, groups, days lost, late reports."""

from __future__ import annotations

from collections.abc import Iterable

from handling_review.evidence.assemble import Review
from handling_review.evidence.control import Signal
from handling_review.evidence.export_columns import Row, count, estimate_columns, value
from handling_review.evidence.late import LagRow
from handling_review.evidence.tasks import EQUIPMENT_GROUPS, LOADS, SUITED, TECHNIQUES


def control_chart(review: Review, level: str) -> Iterable[Row]:
    """The points of every chart by quarter with their limits and signals."""
    for chart in (review.watch.facility, *review.watch.units):
        for point in chart.points:
            yield {
                "place": chart.name,
                "series": review.watch.series,
                "quarter": point.quarter,
                "cases": count(point.events),
                "rate_per_200k_hours": point.rate.value,
                "centre_per_200k_hours": value(chart.centre),
                "lower_limit_per_200k_hours": point.lower.value,
                "upper_limit_per_200k_hours": point.upper.value,
                "in_baseline": point.in_baseline,
                "baseline_rule": chart.baseline_rule,
                "is_provisional": point.is_provisional,
                "signals": _signals(point.signals),
            }


def days_between(review: Review, level: str) -> Iterable[Row]:
    """The points of every chart of days between cases; the day of a case stands nowhere."""
    for chart in (review.watch.facility, *review.watch.units):
        for wait in chart.waits:
            yield {
                "place": chart.name,
                "series": review.watch.series,
                "case_in_order": wait.position,
                "quarter": wait.quarter,
                "days": wait.days.value,
                "centre_days": value(chart.centre),
                "lower_limit_days": value(chart.lower),
                "upper_limit_days": value(chart.upper),
                "in_baseline": wait.in_baseline,
                "has_not_ended": wait.is_open,
                "signals": _signals(wait.signals),
            }


def _signals(signals: Iterable[Signal]) -> str:
    return "; ".join(f"{signal.rule}: {signal.direction} injuries" for signal in signals)


def early_warning(review: Review, level: str) -> Iterable[Row]:
    """The running sums of every early warning by month."""
    for found in (review.watch.warning, *review.watch.unit_warnings):
        for month in found.months:
            yield {
                "place": found.name,
                "series": review.watch.series,
                "month": month.month,
                "cases": count(month.events),
                "running_sum_cases": month.running_sum.value,
                "speaks_at_cases": value(found.threshold),
                "usual_rate_per_200k_hours": value(found.usual),
                "speaks": month.warns,
            }


def weighed_units(review: Review, level: str) -> Iterable[Row]:
    """Each unit's rate weighed against the spread of all units."""
    for row in review.spread.rows:
        yield {
            "unit": row.unit,
            "unit_name": row.name,
            "series": review.spread.series,
            "weighed_rate_per_200k_hours": row.rate.value,
            f"weighed_lower_{level}": row.lower.value,
            f"weighed_upper_{level}": row.upper.value,
            "weight_of_the_whole": row.weight.value,
            "probability_among_highest_quarter": row.among_highest.value,
            "p_value_adjusted": row.adjusted.value,
        }


def activities(review: Review, level: str) -> Iterable[Row]:
    """Handling injuries by activity and equipment in use."""
    for row in review.tasks.activities:
        yield {
            "activity": row.activity,
            "recordable_cases": count(row.recordable),
            "first_aid_cases": count(row.first_aid),
            "share_of_recordable": row.share.value,
            **{
                f"cases_equipment_{group}": count(number)
                for group, number in zip(EQUIPMENT_GROUPS, row.by_equipment, strict=True)
            },
        }


def technique(review: Review, level: str) -> Iterable[Row]:
    """Handling injuries by technique band, load on hands and suited equipment."""
    for kind, values in (("technique", TECHNIQUES), ("load", LOADS), ("suited", SUITED)):
        for name in values:
            yield {"question": kind, "answer": name, "cases_with_first_aid": count(review.tasks.of(kind, name))}


def groups(review: Review, level: str) -> Iterable[Row]:
    """Who is hurt: groups that are large enough to be shown."""
    for grouping in review.who.groupings:
        for row in grouping.rows:
            yield {
                "kind": grouping.kind,
                "group": row.label,
                "groups_together": row.members,
                "cases": count(row.cases),
                "share_of_cases": row.share.value,
                "hours_worked": value(row.rate.hours) if row.rate else None,
                "rate_per_200k_hours": value(row.rate.rate) if row.rate else None,
                f"lower_{level}": value(row.rate.lower) if row.rate else None,
                f"upper_{level}": value(row.rate.upper) if row.rate else None,
            }


def severity(review: Review, level: str) -> Iterable[Row]:
    """Days away and restricted, with and without the longest case."""
    for row in review.severity.rows:
        yield {
            "window": row.window,
            "injuries": row.kind,
            "cases_with_days": count(row.cases),
            "days": count(row.days),
            "hours_worked": value(row.hours),
            **estimate_columns("days_per_200k_hours", row.days_rate, level),
            "longest_case_days": count(row.longest),
            **estimate_columns("days_per_200k_hours_without_longest", row.without_longest, level),
        }


def outcomes(review: Review, level: str) -> Iterable[Row]:
    """Recordable cases by outcome."""
    for row in review.severity.outcomes:
        yield {
            "window": row.window,
            "outcome": row.outcome,
            "cases": count(row.cases),
            **estimate_columns("share", row.share, level),
        }


def reporting_lag(review: Review, level: str) -> Iterable[Row]:
    """Days from event to report by quarter."""

    def row(found: LagRow) -> Row:
        return {
            "quarter": found.name,
            "cases": count(found.cases),
            "median_days": value(found.median),
            "percentile_90_days": value(found.ninetieth),
            "share_over_7_days": value(found.slow),
            "cases_without_day_of_report": count(found.no_day),
        }

    yield from (row(found) for found in (*review.late.rows, review.late.whole))


def late_cases(review: Review, level: str) -> Iterable[Row]:
    """The latest quarters as reported and with the late cases to be expected."""
    for item in review.late.nowcasts:
        yield {
            "quarter": item.quarter,
            "series": review.late.series,
            "cases_in_the_log": count(item.reported),
            "share_in_the_log": item.in_the_log.value,
            **estimate_columns("late_cases_expected", item.late, level),
            "rate_as_reported_per_200k_hours": item.reported_rate.value,
            **estimate_columns("rate_with_late_cases_per_200k_hours", item.rate, level),
        }
