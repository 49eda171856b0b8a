"""Ranges of the statistics as published estimates."""

from __future__ import annotations

from handling_review.evidence import numbers
from handling_review.evidence.contrast import Estimate
from handling_review.stats.money import Range


def money_range(kind: str, end: str, found: Range, currency: str) -> Estimate:
    """An amount of money with its limits, keyed ``kind/end``, ``kind_lower/end`` and ``kind_upper/end``."""
    return Estimate(
        numbers.money(f"{kind}/{end}", found.estimate, currency),
        numbers.money(f"{kind}_lower/{end}", found.lower, currency),
        numbers.money(f"{kind}_upper/{end}", found.upper, currency),
    )


def cases_range(kind: str, end: str, found: Range) -> Estimate:
    """Cases a year with their limits, keyed in the same way."""
    return Estimate(
        numbers.decimal(f"{kind}/{end}", found.estimate, "cases a year"),
        numbers.decimal(f"{kind}_lower/{end}", found.lower, "cases a year"),
        numbers.decimal(f"{kind}_upper/{end}", found.upper, "cases a year"),
    )
