"""Columns that several of the flat tables share."""

from __future__ import annotations

from typing import Any

from handling_review.evidence.contrast import Estimate
from handling_review.evidence.measure import Rate
from handling_review.evidence.numbers import Number

Row = dict[str, Any]


def value(number: Number | None) -> float | None:
    """The value of a number; nothing where there is none."""
    return None if number is None else number.value


def count(number: Number) -> int:
    """A count as a whole number."""
    return int(number.value or 0)


def rate_columns(rate: Rate, level: str) -> Row:
    """Cases, hours, rate and limits of one rate."""
    return {
        "series": rate.series,
        "cases": count(rate.events),
        "hours_worked": value(rate.hours),
        "rate_per_200k_hours": value(rate.rate),
        f"lower_{level}": value(rate.lower),
        f"upper_{level}": value(rate.upper),
        f"one_sided_upper_{level}": value(rate.limit),
        "reliability": rate.reliability,
        "withheld_because": rate.withheld,
    }


def estimate_columns(name: str, estimate: Estimate | None, level: str) -> Row:
    """An estimate and its limits."""
    return {
        name: value(estimate.value) if estimate else None,
        f"{name}_lower_{level}": value(estimate.lower) if estimate else None,
        f"{name}_upper_{level}": value(estimate.upper) if estimate else None,
    }
