"""The marks on the time charts: program starts, and letters for the diary."""

from __future__ import annotations

from datetime import date

from handling_review.evidence.assemble import Review


def starts(review: Review, unit: str | None = None) -> tuple[tuple[date, tuple[str, ...]], ...]:
    """Program starts by day, with the names of the units that start on it; of one unit only, if it is named."""
    found: dict[date, list[str]] = {}
    for row in review.units.rows:
        if row.program_start is not None and unit in (None, row.name):
            found.setdefault(row.program_start, []).append(row.name)
    return tuple((day, tuple(names)) for day, names in sorted(found.items()))


def letter(index: int) -> str:
    """A, B, ... Z, AA, AB, ..."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(65 + rest) + text
    return text


def is_about(review: Review, code: str, unit: str | None) -> bool:
    """Whether an entry of the diary (unit code, or "all") is about a unit of this name; always, if none is named."""
    return unit is None or code == "all" or any(row.unit == code and row.name == unit for row in review.units.rows)
