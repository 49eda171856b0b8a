"""The marks on the time charts: program starts, and letters for the diary."""

from __future__ import annotations

from datetime import date

from handling_review.evidence.assemble import Review


def starts(review: Review) -> tuple[tuple[date, tuple[str, ...]], ...]:
    """Program starts by day, with the names of the units that start on it."""
    found: dict[date, list[str]] = {}
    for row in review.units.rows:
        if row.program_start is not None:
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
