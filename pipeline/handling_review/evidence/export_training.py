"""Flat rows of training and technique: audits, signs that may come before injuries, and whose training is due."""

from __future__ import annotations

from collections.abc import Iterable

from handling_review.evidence.audits import AuditsEvidence, Judged, LeadingEvidence
from handling_review.evidence.export_columns import Row, count, estimate_columns, rate_columns, value
from handling_review.evidence.measure import Rate
from handling_review.evidence.numbers import Number
from handling_review.evidence.training_due import DueEvidence

DUE_COLUMNS = ("unit", "unit_name", "state", "due_month", "people")


def audit_header(level: str) -> tuple[str, ...]:
    """The columns of ``audit_rows``, for a table without a row."""
    return (
        *("by", "code", "name", "window", "first_quarter", "last_quarter"),
        *("steps_met", "steps_not_met", "steps_not_applicable"),
        *estimate_columns("share_met", None, level),
        *estimate_columns("change_percentage_points", None, level),
        "verdict",
    )


def audit_rows(evidence: AuditsEvidence, level: str) -> Iterable[Row]:
    """The audits as flat rows, one for each place and window; ``level`` is the confidence in percent ("95").

    Windows: quarter (one), recent (the last four complete ones, or as many as there are) and before (the four before).
    The change and its verdict stand on the recent row. Without any data there is no row.
    """
    for item in evidence.quarters:
        yield {
            **_side("facility", "", "facility", "quarter", (item.quarter,), item.steps, level),
            **estimate_columns("change_percentage_points", None, level),
            "verdict": "",
        }
    rows = [("facility", evidence.facility)] if not evidence.reason else []
    rows += [("item", row) for row in evidence.items]
    rows += [("transfer_type", row) for row in evidence.transfers]
    rows += [("unit", row) for row in evidence.units]
    for kind, row in rows:
        yield {
            **_side(kind, row.code, row.name, "recent", evidence.now, row.now, level),
            **estimate_columns("change_percentage_points", row.change, level),
            "verdict": row.verdict,
        }
        if evidence.then:
            yield {
                **_side(kind, row.code, row.name, "before", evidence.then, row.then, level),
                **estimate_columns("change_percentage_points", None, level),
                "verdict": "",
            }


def _side(kind: str, code: str, name: str, window: str, quarters: tuple[str, ...], steps: Judged, level: str) -> Row:
    return {
        "by": kind,
        "code": code,
        "name": name,
        "window": window,
        "first_quarter": quarters[0],
        "last_quarter": quarters[-1],
        "steps_met": count(steps.met),
        "steps_not_met": count(steps.judged) - count(steps.met),
        "steps_not_applicable": count(steps.not_applicable),
        **estimate_columns("share_met", steps.share, level),
    }


def leading_header(level: str) -> tuple[str, ...]:
    """The columns of ``leading_rows``, for a table without a row."""
    return (
        *("quarter", "is_provisional", "hours_share_current_training", "audit_steps_met", "audit_steps_judged"),
        *estimate_columns("audit_share_met", None, level),
        *(f"first_aid_{name}" for name in _short(None, level)),
        *("later_series", "later_quarter", "later_is_provisional"),
        *(f"later_{name}" for name in _short(None, level)),
        "later_not_known_because",
    )


def leading_rows(evidence: LeadingEvidence, level: str) -> Iterable[Row]:
    """The figures that may move before injuries do as flat rows, one for each complete quarter."""
    for row in evidence.rows:
        first_aid = {f"first_aid_{name}": found for name, found in _short(row.first_aid, level).items()}
        injuries = {f"later_{name}": found for name, found in _short(row.injuries, level).items()}
        steps = row.audits
        yield {
            "quarter": row.quarter,
            "is_provisional": row.is_provisional,
            "hours_share_current_training": value(row.coverage),
            "audit_steps_met": None if steps is None else count(steps.met),
            "audit_steps_judged": None if steps is None else count(steps.judged),
            **estimate_columns("audit_share_met", None if steps is None else steps.share, level),
            **first_aid,
            "later_series": evidence.series,
            "later_quarter": row.later_quarter,
            "later_is_provisional": row.later_is_provisional,
            **injuries,
            "later_not_known_because": row.not_known,
        }


def _short(rate: Rate | None, level: str) -> Row:
    """The columns of a rate without its series, reliability and reason; empty cells where it is not known."""
    limits = (f"lower_{level}", f"upper_{level}", f"one_sided_upper_{level}")
    names = ("cases", "hours_worked", "rate_per_200k_hours", *limits)
    columns = {} if rate is None else rate_columns(rate, level)
    return {name: columns.get(name) for name in names}


def due_rows(evidence: DueEvidence, level: str) -> Iterable[Row]:
    """The counts as a flat table: the facility by state and month (unit blank), then each unit by state.

    ``due_soon``: training lapses in the rest of this month or the three after it; a month stands in ``due_month`` only
    for the facility. ``level`` is not used: counts of everybody have no interval.
    """
    for state, people in (
        ("overdue", evidence.overdue),
        ("never_trained", evidence.never_trained),
        *((("due", item.month), item.people) for item in evidence.months),
        ("current_no_end", evidence.current_no_end),
        ("unknown", evidence.unknown),
        ("comparison_unit", evidence.comparison),
    ):
        name, month = (state, "") if isinstance(state, str) else state
        yield _due("", "whole facility", name, month, people)
    for row in evidence.units:
        if row.is_comparison:
            yield _due(row.unit, row.name, "comparison_unit", "", row.people)
            continue
        for name, people in (
            ("overdue", row.overdue),
            ("never_trained", row.never_trained),
            ("due_soon", row.soon),
            ("due_later", row.later),
            ("current_no_end", row.current_no_end),
            ("unknown", row.unknown),
        ):
            yield _due(row.unit, row.name, name, "", people)


def _due(unit: str, name: str, state: str, month: str, people: Number) -> Row:
    return {"unit": unit, "unit_name": name, "state": state, "due_month": month, "people": count(people)}
