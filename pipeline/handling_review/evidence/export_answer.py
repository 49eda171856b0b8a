"""The answer as flat tables: designs, other ways of asking, time since training, the quarters of each series."""

from __future__ import annotations

from collections.abc import Iterable

from handling_review.evidence.assemble import Review
from handling_review.evidence.export_columns import Row, estimate_columns, rate_columns, value
from handling_review.evidence.ladder import Rung


def designs(review: Review, level: str) -> Iterable[Row]:
    """Every design of every series, weakest first."""
    for ladder in review.answer.ladders:
        for rung in ladder.rungs:
            yield {
                "series": ladder.series,
                "design": rung.design,
                "is_main": rung.design == ladder.primary,
                **_rung(rung, level),
            }


def assumptions(review: Review, level: str) -> Iterable[Row]:
    """What each design takes for granted and whether the data bear it out (empty: cannot be checked)."""
    for rung in review.answer.ladder.rungs:
        for check in rung.checks:
            yield {
                "series": rung.series,
                "design": rung.design,
                "assumption": check.assumption,
                "met": check.met,
                "seen": check.seen,
            }


def sensitivity(review: Review, level: str) -> Iterable[Row]:
    """The main answer and every other way of asking."""
    found = review.answer.sensitivity
    for row in (found.main, *found.rows):
        yield {
            "question": row.name,
            "what_is_changed": row.what,
            "design": row.rung.design,
            **_rung(row.rung, level),
            "per": row.exposure or "hours worked",
            "amount_with": row.now_amount.value,
            "amount_without": row.then_amount.value,
        }


def time_since_training(review: Review, level: str) -> Iterable[Row]:
    """Rates by time since training."""
    bands = review.answer.bands
    for item in (*bands.bands, bands.lapsed, bands.untrained):
        yield {"time_since_training": item.name, **rate_columns(item.rate, level)}


def quarters_around_start(review: Review, level: str) -> Iterable[Row]:
    """The quarters of the facility's and each unit's series with the line before carried on."""
    for series in review.answer.series:
        for point in series.points:
            yield {
                "unit": series.unit or "all units with the program",
                "start": series.start,
                "quarter": point.quarter,
                "rate_per_200k_hours": value(point.seen),
                "fitted_per_200k_hours": value(point.fitted),
                "line_before_per_200k_hours": value(point.had_nothing_changed),
                f"line_before_lower_{level}": value(point.lower),
                f"line_before_upper_{level}": value(point.upper),
                "no_fit_because": series.reason,
            }


def _rung(rung: Rung, level: str) -> Row:
    return {
        "cases_with": rung.now_events.value,
        "hours_worked_with": rung.now_hours.value,
        "cases_without": rung.then_events.value,
        "hours_worked_without": rung.then_hours.value,
        **estimate_columns("rate_ratio", rung.ratio, level),
        "p_value": value(rung.p_value),
        "verdict": rung.verdict,
        "withheld_because": rung.reason,
    }
