"""Sentences about a health system: the pooled ratio, how far facilities differ, where one stands apart."""

from __future__ import annotations

from handling_review.evidence.contrast import CANNOT_TELL, HIGHER, LOWER
from handling_review.evidence.system import PooledRatio, System, disagree, is_firm
from handling_review.evidence.unit_funnel import BEYOND_998
from handling_review.page.sentence import NOTHING, Sentence, counted, listed, say
from handling_review.page.words.rates import SERIES_NAME, upper

ALIKE_ABOVE = 0.05


def pooled_sentence(found: PooledRatio) -> Sentence:
    """Did rates change with training over all facilities: lower, higher, cannot tell, one side empty, nothing."""
    name = SERIES_NAME[found.series]
    counts = (
        *counted(found.cases_after, "case", "cases"), " in ", found.hours_after, " hours after training, against ",
        *counted(found.cases_before, "case", "cases"), " in ", found.hours_before, " hours before",
    )  # fmt: skip
    told = found.average or found.common
    if told is None:
        return say(f"No facility has hours both before and after training and a case of {name}: nothing can be pooled.")
    if found.average is None:
        return say(f"{upper(name)}: ", *counts, ". Too little to say how facilities differ. ") + say(
            "If one ratio held in all of them it would be ", told.value, " (likely between ", told.lower, " and ",
            told.upper, ").",
        )  # fmt: skip
    ratio = say(
        "In the average facility the rate after was ", told.value, " times the rate before (likely between ",
        told.lower, " and ", told.upper, ").",
    )  # fmt: skip
    if found.verdict == CANNOT_TELL:
        return say(f"These data cannot tell whether the rate of {name} changed: ", *counts, ".") + ratio
    return say(f"Over all facilities the rate of {name} was {found.verdict} after training: ", *counts, ".") + ratio


def differ_sentence(found: PooledRatio) -> Sentence:
    """Whether one ratio could hold everywhere, and what one further facility might see."""
    if found.spread is None or found.same is None or found.prediction is None:
        return NOTHING
    low, high = found.prediction
    further = say("The true ratio of one further facility like these would lie between ", low, " and ", high, ".")
    if (found.same.value or 0) >= ALIKE_ABOVE:
        same = say(
            "The facilities differ no more than chance could make them (test of one common ratio: p = ", found.same,
            "); that does not show that they are alike.",
        )  # fmt: skip
    else:
        same = say(
            "The facilities differ beyond chance (test of one common ratio: p = ", found.same,
            "): what holds on average need not hold in each.",
        )  # fmt: skip
    few = NOTHING if is_firm(found) else say("With so few facilities this is a rough guess.")
    return same + further + few


def each_sentence(found: System) -> Sentence:
    """How many facilities are lower, higher or cannot tell by their own cases."""
    told = dict(found.by_verdict)
    few = int(told["few_cases"].value or 0) + int(told["no_data"].value or 0)
    sentence = say(
        "By its own cases alone the rate after training is lower in ", *counted(told[LOWER], "facility", "facilities"),
        ", higher in ", told[HIGHER], ", and cannot be told in ", told[CANNOT_TELL],
    )  # fmt: skip
    if few:
        sentence = Sentence((
            *sentence.parts, "; ", told["few_cases"], " have too few cases, ", told["no_data"],
            " nothing to compare",
        ))  # fmt: skip
    sentence = Sentence((*sentence.parts, "."))
    if disagree(found):
        sentence = sentence + say("Facilities point both ways: ask what differs before anything is rolled out further.")
    return sentence


def other_sentence(found: System) -> Sentence:
    """The same for injuries that training does not aim at: a check on everything else that changed."""
    other = found.pooled[-1]
    told = other.average or other.common
    if told is None or other.series == found.series:
        return NOTHING
    return say(
        f"For {SERIES_NAME[other.series]}, which training does not aim at, the ratio is ", told.value,
        " (likely between ", told.lower, " and ", told.upper,
        "). If that moved as well, something other than training may be behind both.",
    )  # fmt: skip


def funnel_sentence(found: System) -> Sentence:
    """Which facilities lie beyond the outer limits of the funnel."""
    if found.funnel.reason:
        return say(f"No funnel of facilities is drawn: {_facilities(found.funnel.reason)}.")
    out = tuple(unit.name for unit in found.funnel.units if unit.where == BEYOND_998)
    widened = say(
        "The limits are widened by what facilities differ beyond chance." if found.funnel.widened else
        "The limits are those of chance alone."
    )  # fmt: skip
    if not out:
        return (
            say("No facility lies beyond the outer limits of the funnel, which chance crosses once in 500.") + widened
        )
    lie = "lie" if len(out) > 1 else "lies"
    return say(
        f"{listed(out)} {lie} beyond the outer limits of the funnel, which chance crosses once in 500 facilities. "
        "Facilities differ in the people they care for, so this is a question, not a mark."
    ) + widened  # fmt: skip


def _facilities(reason: str) -> str:
    return reason.replace("units", "facilities").replace("the facility", "the system")


def title(found: PooledRatio) -> Sentence:
    """The pooled answer as the title of a picture."""
    name = upper(SERIES_NAME[found.series])
    told = found.average or found.common
    if told is None:
        return say(f"{name}: nothing to pool yet")
    if found.verdict == CANNOT_TELL:
        return say(f"{name}: cannot tell whether the rate changed (average ratio ", told.value, ")")
    return say(f"{name}: {found.verdict} after training, on average ", told.value, " times the rate before")


CAUTION = say(
    "These are recorded injuries, not all injuries. Before and after training is compared inside each facility; "
    "that is no proof that training is the cause. Each facility's own review shows the stronger comparisons."
)

HOW_POOLED = (
    say(
        "Of the cases of a facility, the share that fell after training is set against the share of its hours. "
        "Facilities may differ in their true ratio; the average is the middle of those ratios (binomial-normal model, "
        "by maximum likelihood). Facilities without a case, or without hours on one side, tell nothing and are not "
        "counted."
    ),
    say(
        "The ranges weigh every possible spread between facilities by its likelihood, so they are wide where "
        "facilities are few."
    ),
    say("Ratios of single facilities have the mid-P range of the facility's own review."),
)

HOW_HANDED_ON = (
    say(
        "No row about a person left a facility. Each handed on cases and hours in cells of quarter, unit, phase of "
        "training and side of the program's start. Cells in which a count of 1 to 4 could be read were put together "
        "with others of the same phase and side before they left; cases and hours of each phase add up to what they "
        "were."
    ),
    say("Quarters that a facility found incomplete are left out by that facility."),
)
