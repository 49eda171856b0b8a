"""How far units differ beyond chance, as a sentence and a table."""

from __future__ import annotations

from handling_review.evidence.unit_spread import UnitSpread
from handling_review.page.sentence import say
from handling_review.page.tables import Column, Table
from handling_review.page.words import spread as words
from handling_review.page.words.rates import SERIES_NAME, upper


def spread_table(found: UnitSpread) -> Table | None:
    """Each unit's rate weighed against the spread of all units, in alphabetical order."""
    if not found.rows:
        return None
    return Table(
        f"{upper(SERIES_NAME[found.series])}: each unit's record weighed against all units, per 200,000 hours",
        (
            Column("Unit (alphabetical)", "label"),
            Column("Weighed rate", "number"),
            Column("Likely between", "number"),
            Column("Weight of the whole", "number"),
            Column("Chance to be among the highest quarter", "number"),
            Column("p, adjusted", "number"),
        ),
        tuple(
            (
                row.name,
                row.rate,
                say(row.lower, " to ", row.upper),
                row.weight,
                row.among_highest,
                row.adjusted,
            )
            for row in found.rows
        ),
        (
            words.WEIGHED_NOTE,
            *(f"{upper(note)}." for note in found.notes),
        ),
    )
