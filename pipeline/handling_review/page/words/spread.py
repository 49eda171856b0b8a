"""How far units differ beyond chance, in words."""

from __future__ import annotations

from handling_review.evidence.unit_spread import UnitSpread
from handling_review.page.sentence import NOTHING, Sentence, say


def spread_sentence(found: UnitSpread) -> Sentence:
    """Whether the units differ more than chance gives, all of them together."""
    if found.same_rate is None:
        return NOTHING
    if found.differ:
        return say(
            "Taken together, the units differ more than chance alone would give (test of one common rate: p = ",
            found.same_rate,
            ").",
        )
    return say(
        "Taken together, the units differ no more than chance could give (test of one common rate: p = ",
        found.same_rate,
        ").",
    )


WEIGHED_NOTE = (
    "A small unit's own record says little, so it is drawn towards the rate of the whole; the weight says how "
    "far. p: the unit against all others, adjusted for the number of units (Benjamini-Hochberg)."
)
