"""Result objects as flat tables, the unit of each figure in its column name."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import pandas as pd

from handling_review.evidence import export_answer, export_money, export_restated, export_training, export_watch
from handling_review.evidence.assemble import Review
from handling_review.evidence.contrast import Contrast
from handling_review.evidence.export_columns import Row, count, estimate_columns, rate_columns, value
from handling_review.evidence.numbers import Number
from handling_review.evidence.tasks import EQUIPMENT_GROUPS
from handling_review.evidence.training import STATUSES, Coverage


def result_frames(review: Review) -> dict[str, pd.DataFrame]:
    """The frames behind the tables folder, by file name without its ending.

    A withheld figure is an empty cell with the reason beside it. Limits carry the confidence level in their
    name (``lower_95``). Rates are per 200,000 hours.
    """
    level = f"{100 * review.program.analysis.confidence:g}"
    makers: Mapping[str, Callable[[Review, str], Iterable[Row]]] = {
        "rates_by_quarter": _rates_by_quarter,
        "rates_four_quarters": _rates_four_quarters,
        "rates_by_unit": _rates_by_unit,
        "rates_by_unit_and_quarter": _rates_by_unit_and_quarter,
        "phases": _phases,
        "before_after": _contrasts,
        "designs": export_answer.designs,
        "assumptions": export_answer.assumptions,
        "sensitivity": export_answer.sensitivity,
        "time_since_training": export_answer.time_since_training,
        "quarters_around_start": export_answer.quarters_around_start,
        "control_chart": export_watch.control_chart,
        "days_between_cases": export_watch.days_between,
        "early_warning": export_watch.early_warning,
        "weighed_units": export_watch.weighed_units,
        "activities": export_watch.activities,
        "technique_and_load": export_watch.technique,
        "injured_groups": export_watch.groups,
        "days_lost": export_watch.severity,
        "outcomes": export_watch.outcomes,
        "reporting_lag": export_watch.reporting_lag,
        "late_cases": export_watch.late_cases,
        "technique_audits": lambda found, named: export_training.audit_rows(found.audits, named),
        "program_worth": export_money.worth,
        "proposals": export_money.proposals,
        "training_due": lambda found, named: export_training.due_rows(found.due, named),
        "leading_signs": lambda found, named: export_training.leading_rows(found.leading, named),
        "comparisons": _comparisons,
        "training_coverage": _coverage,
        "people": _people,
        "reporting_mix": _mix,
        "row_accounting": _accounting,
        "published_rates": _references,
        "reconciliation": _reconciliation,
        "restated": lambda found, named: export_restated.restated_rows(found.restated),
        "numbers": _numbers,
    }
    frames = {}
    for name, make in makers.items():
        rows = list(make(review, level))
        frames[name] = pd.DataFrame(rows, columns=None if rows else list(_header(name, level)))
    return frames


def _header(name: str, level: str) -> tuple[str, ...]:
    """The columns of a table that may have no row at all; a file without a header could not be read."""
    rate = (
        "series",
        "cases",
        "hours_worked",
        "rate_per_200k_hours",
        f"lower_{level}",
        f"upper_{level}",
        f"one_sided_upper_{level}",
        "reliability",
        "withheld_because",
    )
    measures = ("rate_ratio", "rate_difference_per_200k_hours", "cases_avoided")
    counts = ("cases_compared", "hours_worked_compared", "cases_with", "hours_worked_with")
    limits = tuple(f"{m}{end}" for m in measures for end in ("", f"_lower_{level}", f"_upper_{level}"))
    complete = ("is_complete", "is_provisional")

    def ranged(name: str) -> tuple[str, ...]:
        return name, f"{name}_lower_{level}", f"{name}_upper_{level}"

    share = "dart_share_of_recordable"
    return {
        "rates_four_quarters": ("last_quarter", "period_start", "period_end", *complete, *rate),
        "rates_by_unit_and_quarter": ("unit", "quarter", "is_complete", *rate),
        "comparisons": ("question", "series", "compared", "with", *counts, *limits, "verdict"),
        "assumptions": ("series", "design", "assumption", "met", "seen"),
        "control_chart": (
            *("place", "series", "quarter", "cases", "rate_per_200k_hours", "centre_per_200k_hours"),
            *("lower_limit_per_200k_hours", "upper_limit_per_200k_hours", "in_baseline", "baseline_rule"),
            *("is_provisional", "signals"),
        ),
        "days_between_cases": (
            *("place", "series", "case_in_order", "quarter", "days", "centre_days", "lower_limit_days"),
            *("upper_limit_days", "in_baseline", "has_not_ended", "signals"),
        ),
        "early_warning": (
            *("place", "series", "month", "cases", "running_sum_cases", "speaks_at_cases"),
            *("usual_rate_per_200k_hours", "speaks"),
        ),
        "weighed_units": (
            *("unit", "unit_name", "series", "weighed_rate_per_200k_hours", f"weighed_lower_{level}"),
            *(f"weighed_upper_{level}", "weight_of_the_whole", "probability_among_highest_quarter", "p_value_adjusted"),
        ),
        "program_worth": export_money.worth_header(level),
        "proposals": export_money.proposals_header(level),
        "technique_audits": export_training.audit_header(level),
        "leading_signs": export_training.leading_header(level),
        "activities": (
            *("activity", "recordable_cases", "first_aid_cases", "share_of_recordable"),
            *(f"cases_equipment_{group}" for group in EQUIPMENT_GROUPS),
        ),
        "injured_groups": (
            *("kind", "group", "groups_together", "cases", "share_of_cases", "hours_worked", "rate_per_200k_hours"),
            *(f"lower_{level}", f"upper_{level}"),
        ),
        "days_lost": (
            *("window", "injuries", "cases_with_days", "days", "hours_worked", *ranged("days_per_200k_hours")),
            *("longest_case_days", *ranged("days_per_200k_hours_without_longest")),
        ),
        "outcomes": ("window", "outcome", "cases", *ranged("share")),
        "late_cases": (
            *("quarter", "series", "cases_in_the_log", "share_in_the_log", *ranged("late_cases_expected")),
            *("rate_as_reported_per_200k_hours", *ranged("rate_with_late_cases_per_200k_hours")),
        ),
        "quarters_around_start": (
            *("unit", "start", "quarter", "rate_per_200k_hours", "fitted_per_200k_hours"),
            *("line_before_per_200k_hours", f"line_before_lower_{level}", f"line_before_upper_{level}"),
            "no_fit_because",
        ),
        "restated": export_restated.HEADER,
        "people": ("quarter", "people_with_hours", "people_trained", "people_lapsed"),
        "reporting_mix": (
            *("year", "complete_quarters", "hours_worked"),
            *("first_aid_cases", "recordable_cases", "dart_cases", "days_away_cases"),
            *(share, f"{share}_lower_{level}", f"{share}_upper_{level}"),
            *("unclassified_cases", "unclassified_share_of_recordable"),
        ),
        "published_rates": ("naics", "ownership", "year", "series", "rate_per_200k_hours", "source"),
        "reconciliation": ("year", "figure", "posted", "in_review", "rows_set_aside", "agrees"),
    }.get(name, ())


def _rates_by_quarter(review: Review, level: str) -> Iterable[Row]:
    for span in review.rates.quarters:
        for rate in span.rates:
            yield {
                "quarter": span.quarter,
                "quarter_start": span.start,
                "quarter_end": span.end,
                "is_complete": span.is_complete,
                "is_provisional": span.is_provisional,
                **rate_columns(rate, level),
            }


def _rates_four_quarters(review: Review, level: str) -> Iterable[Row]:
    for span in review.rates.rolling:
        for rate in span.rates:
            yield {
                "last_quarter": span.quarter,
                "period_start": span.start,
                "period_end": span.end,
                "is_complete": span.is_complete,
                "is_provisional": span.is_provisional,
                **rate_columns(rate, level),
            }


def _rates_by_unit(review: Review, level: str) -> Iterable[Row]:
    for row in review.units.rows:
        for window, rate in (("last_four_quarters", row.recent), ("all_complete_quarters", row.overall)):
            yield {
                "unit": row.unit,
                "unit_name": row.name,
                "care_type": row.care_type,
                "program_start": row.program_start,
                "window": window,
                **rate_columns(rate, level),
                "ratio_to_other_units": value(row.against_rest.value)
                if row.against_rest and window == "all_complete_quarters"
                else None,
            }


def _rates_by_unit_and_quarter(review: Review, level: str) -> Iterable[Row]:
    for cell in review.rates.unit_quarters:
        for rate in cell.rates:
            yield {
                "unit": cell.unit,
                "quarter": cell.quarter,
                "is_complete": cell.is_complete,
                **rate_columns(rate, level),
            }


def _phases(review: Review, level: str) -> Iterable[Row]:
    for phase in review.before_after.phases:
        for rate in phase.rates:
            yield {
                "phase": phase.phase,
                "compared": phase.in_contrast,
                "share_of_hours": value(phase.hours_share),
                **rate_columns(rate, level),
            }


def _contrast_columns(item: Contrast, level: str) -> Row:
    return {
        "question": item.name,
        "series": item.series,
        "compared": item.labels[0],
        "with": item.labels[1],
        "cases_compared": count(item.now.events),
        "hours_worked_compared": value(item.now.hours),
        "cases_with": count(item.then.events),
        "hours_worked_with": value(item.then.hours),
        **estimate_columns("rate_ratio", item.ratio, level),
        **estimate_columns("rate_difference_per_200k_hours", item.difference, level),
        **estimate_columns("cases_avoided", item.avoided, level),
        "verdict": item.verdict,
    }


def _contrasts(review: Review, level: str) -> Iterable[Row]:
    change = review.before_after
    bounds = change.unclassified
    items = (
        *change.contrasts,
        bounds.all_counted,
        bounds.most_favourable,
        bounds.least_favourable,
    )
    for item in items:
        yield {"design": change.design, **_contrast_columns(item, level)}


def _comparisons(review: Review, level: str) -> Iterable[Row]:
    for item in review.rates.comparisons:
        yield _contrast_columns(item, level)


def _coverage(review: Review, level: str) -> Iterable[Row]:
    def row(kind: str, item: Coverage, quarter: str) -> Row:
        shares: tuple[Number | None, ...] = item.shares or (None,) * len(STATUSES)
        return {
            "place": kind,
            "quarter": quarter,
            "unit": "" if kind == "facility" else item.name,
            "hours_worked": value(item.total),
            **{f"hours_worked_{s}": value(h) for s, h in zip(STATUSES, item.hours, strict=True)},
            **{f"share_of_hours_{s}": value(h) for s, h in zip(STATUSES, shares, strict=True)},
            "withheld_because": item.reason,
        }

    for item in review.training.quarters:
        yield row("facility", item, item.name)
    for quarter, units in review.training.unit_quarters:
        for unit in units:
            yield row("unit", unit, quarter)


def _people(review: Review, level: str) -> Iterable[Row]:
    for row in review.training.people:
        yield {
            "quarter": row.quarter,
            "people_with_hours": count(row.with_hours),
            "people_trained": count(row.trained),
            "people_lapsed": count(row.lapsed),
        }


def _mix(review: Review, level: str) -> Iterable[Row]:
    for year in review.reporting.years:
        yield {
            "year": year.year,
            "complete_quarters": year.quarters,
            "hours_worked": value(year.hours),
            "first_aid_cases": count(year.first_aid),
            "recordable_cases": count(year.recordable),
            "dart_cases": count(year.dart),
            "days_away_cases": count(year.days_away),
            **estimate_columns("dart_share_of_recordable", year.dart_share, level),
            "unclassified_cases": count(year.unclassified),
            "unclassified_share_of_recordable": value(year.unclassified_share),
        }


def _accounting(review: Review, level: str) -> Iterable[Row]:
    for row in review.accounting.rules:
        yield {
            "file": row.file,
            "rule": row.rule,
            "kind": row.kind,
            "rows": count(row.rows),
            "meaning": row.meaning,
        }


def _references(review: Review, level: str) -> Iterable[Row]:
    for row in review.reference.rates:
        yield {
            "naics": row.naics,
            "ownership": row.ownership,
            "year": row.year,
            "series": row.series,
            "rate_per_200k_hours": value(row.rate),
            "source": row.source,
        }


def _reconciliation(review: Review, level: str) -> Iterable[Row]:
    for row in review.reconciliation.figures:
        yield {
            "year": row.year,
            "figure": row.figure,
            "posted": value(row.posted),
            "in_review": value(row.in_review),
            "rows_set_aside": count(row.set_aside),
            "agrees": row.agrees,
        }


def _numbers(review: Review, level: str) -> Iterable[Row]:
    for number in review.numbers:
        yield {"key": number.key, "value": number.value, "unit": number.unit, "shown": number.shown}
