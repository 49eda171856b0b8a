"""Restated numbers as a flat table: one row a number and reason."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from handling_review.evidence.export_columns import Row, value

if TYPE_CHECKING:
    from handling_review.evidence.restated import RestatedEvidence

HEADER = (
    *("key", "place", "period", "what", "kind", "unit_of_measure", "then", "now", "difference", "reason"),
    *("cases", "hours_worked", "rows"),
)


def restated_rows(found: RestatedEvidence) -> Iterable[Row]:
    """One row a restated number and reason; empty cells where a review gave no such number."""
    for row in found.rows:
        shown = row.now or row.then
        for reason in row.reasons:
            yield {
                "key": row.key,
                "place": row.place,
                "period": row.period.period,
                "what": row.period.family,
                "kind": row.period.series,
                "unit_of_measure": shown.unit if shown else "",
                "then": value(row.then) if row.then else None,
                "now": value(row.now) if row.now else None,
                "difference": value(row.difference) if row.difference else None,
                "reason": reason.kind,
                "cases": value(reason.cases) if reason.cases else None,
                "hours_worked": value(reason.hours) if reason.hours else None,
                "rows": value(reason.rows) if reason.rows else None,
            }
