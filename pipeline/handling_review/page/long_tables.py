"""Tables too long to be read at a glance: the latest quarters stay in sight, the whole goes under the fold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from handling_review.page.house import Picture
from handling_review.page.tables import Table

MOST_QUARTERS = 16  # rows of a table by quarter that stay in sight: four years
LATEST_QUARTERS = 12  # what is left of a longer one: three years
MOST_PLACES = 24  # rows of a table by unit or facility that stay in sight
_FOLD = "“How we know, and more tables”"
_PLACES = ("Unit", "Place", "Facility (")


def arranged(shown: Sequence[Table], folded: Sequence[Table]) -> tuple[tuple[Table, ...], tuple[Table, ...], str]:
    """Tables in sight, tables under the fold, and where to find what was moved; tables without rows are left out."""
    kept, moved = [], []
    for table in (table for table in shown if table.rows):
        first = table.columns[0].title
        if first == "Quarter" and len(table.rows) > MOST_QUARTERS:
            kept.append(_latest(table))
            moved.append(table)
        elif first.startswith(_PLACES) and len(table.rows) > MOST_PLACES:
            moved.append(table)
        else:
            kept.append(table)
    pointer = f"Under {_FOLD}: {'; '.join(str(table.caption) for table in moved)}." if moved else ""
    return tuple(kept), (*moved, *(table for table in folded if table.rows)), pointer


def _latest(table: Table) -> Table:
    """The latest quarters of a table, with the rows that are no quarter (a total)."""
    quarters = [row for row in table.rows if "-Q" in str(row[0])]
    kept = quarters[-LATEST_QUARTERS:]
    rows = tuple(row for row in table.rows if row in kept or row not in quarters)
    return replace(table, caption=f"{table.caption}, the latest three years", rows=rows)


def with_points(picture: Picture | None) -> Picture | None:
    """The picture, unless nothing would be drawn in it."""
    if picture is None:
        return None
    return picture if any(_has_points(trace) for trace in picture.figure.get("data", ())) else None


def _has_points(trace: dict[str, object]) -> bool:
    x, y = trace.get("x"), trace.get("y")
    if not isinstance(x, list) or not isinstance(y, list):
        return x is not None and y is not None
    return any(a is not None and b is not None for a, b in zip(x, y, strict=True))
