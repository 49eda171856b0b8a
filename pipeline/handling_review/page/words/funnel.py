"""The funnel of units in words."""

from __future__ import annotations

from handling_review.evidence.stated import RULES
from handling_review.evidence.unit_funnel import BEYOND_95, BEYOND_998, UnitFunnel
from handling_review.page.sentence import NOTHING, Sentence, listed, say
from handling_review.visible import short

_OUTER = ("Chance alone puts about one unit in ", RULES.outer_one_in, " beyond them.")


def funnel_sentence(found: UnitFunnel) -> Sentence:
    """Which units lie beyond the outer limits, or that none does."""
    if found.reason:
        return NOTHING
    out = tuple(unit.name for unit in found.units if unit.where == BEYOND_998)
    if not out:
        return say("In the funnel no unit lies beyond the outer limits. ", *_OUTER)
    lie = "lie" if len(out) > 1 else "lies"
    return say(f"In the funnel {listed(out)} {lie} beyond the outer limits. ", *_OUTER)


def funnel_title(found: UnitFunnel, place: str = "unit") -> Sentence:
    """The finding as the title of the picture; ``place``: what stands side by side, a unit or a facility."""
    out = tuple(short(unit.name, 40) for unit in found.units if unit.where == BEYOND_998)
    near = tuple(short(unit.name, 40) for unit in found.units if unit.where == BEYOND_95)
    if out:
        return say(f"Funnel: beyond the outer limits: {listed(out)}")
    if near:
        return say(
            f"Funnel: none beyond the outer limits; beyond the inner: {listed(near)} (chance puts one {place} in ",
            RULES.inner_one_in,
            " there)",
        )
    return say(f"Funnel: every {place} with a rate lies where chance alone would put it")


FUNNEL_DESCRIPTION = say(
    "Funnel. Each dot is a unit, by its hours worked from left to right and its rate from bottom to top. Diamonds lie "
    "beyond the inner limits, squares beyond the outer ones. The solid line is the whole facility. Chance alone puts "
    "one "
    "unit in ", RULES.inner_one_in, " outside the dashed lines and one in ", RULES.outer_one_in, " outside the dotted "
    "ones. They come closer where hours are more. The table gives every number.",
)  # fmt: skip


LIMITS_NOTE = "Limits are exact for counts around the facility's rate and fit the hours of each unit."


WIDENED_NOTE = " They are widened, because the units spread more than chance gives."


def left_out_note(found: UnitFunnel) -> str:
    """Units that are not in the funnel, and why."""
    return f"Too few cases for a rate, and so not in the funnel: {listed(found.left_out)}."
