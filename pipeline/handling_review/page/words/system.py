"""Sentences about a health system: the pooled ratio, how far facilities differ, where one stands apart."""

from __future__ import annotations

from collections.abc import Sequence

from handling_review.evidence.contrast import CANNOT_TELL, FEW_CASES, HIGHER, LOWER, NO_DATA, Estimate
from handling_review.evidence.numbers import Number
from handling_review.evidence.stated import RULES
from handling_review.evidence.system import PooledRatio, System, disagree, is_firm
from handling_review.evidence.unit_funnel import BEYOND_998
from handling_review.page.sentence import NOTHING, Part, Sentence, counted, listed, say
from handling_review.page.words.rates import SERIES_NAME, upper
from handling_review.visible import short

ALIKE_ABOVE = 0.05
_MOST_NAMED = 6


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
        return say(f"{upper(name)}: ", *counts, ". That is too little to say how facilities differ.") + _one(told)
    ratio = say("In the average facility the rate after was ", told.value, " times the rate before ", *_range(told))
    if found.verdict == CANNOT_TELL:
        first = say(f"These data cannot tell whether the rate of {name} changed in the average facility.")
    else:
        first = say(f"In the average facility the rate of {name} was {found.verdict} after training.")
    return first + say("Added up, there were ", *counts, ".") + Sentence((*ratio.parts, "."))


def _range(told: Estimate) -> tuple[Part, ...]:
    return ("(likely between ", told.lower, " and ", told.upper, ")")


def _one(told: Estimate) -> Sentence:
    return say("If one ratio held in all of them, it would be ", told.value, " ", *_range(told), ".")


def silent_sentence(found: PooledRatio) -> Sentence:
    """Facilities that are not in the pooled ratio, and why."""
    if not found.silent.value:
        return NOTHING
    have = "has" if found.silent.value == 1 else "have"
    return say(
        *counted(found.silent, "facility", "facilities"), f" {have} no hours on one side, or no case at all: such a "
        "facility tells nothing about a ratio and is not in it.",
    )  # fmt: skip


def differ_sentence(found: PooledRatio) -> Sentence:
    """Whether one ratio could hold everywhere, and what one further facility might see."""
    if found.spread is None or found.same is None or found.prediction is None:
        return NOTHING
    low, high = found.prediction
    further = say("In one more facility like these, the true ratio would likely lie between ", low, " and ", high, ".")
    if (found.same.value or 0) >= ALIKE_ABOVE:
        same = say(
            "The ratios differ no more than chance could make them (test of one common ratio: p = ", found.same,
            "). That does not show that they are alike.",
        )  # fmt: skip
    else:
        same = say(
            "The ratios differ beyond chance (test of one common ratio: p = ", found.same,
            "). What holds on average need not hold in each facility.",
        )  # fmt: skip
    if is_firm(found) or found.common is None:
        return same + further
    few = say("With so few facilities, how far they differ is hardly known, so both ranges are wide.")
    return same + further + few + _one(found.common)


def each_sentence(found: System) -> Sentence:
    """How many facilities are lower, higher or cannot tell by their own cases, and which."""
    told = dict(found.by_verdict)
    parts: list[Part] = ["By its own cases alone, the rate after training is lower in "]
    parts += [*_which(found, LOWER), ", higher in ", *_which(found, HIGHER), ", and cannot be told in "]
    parts += [told[CANNOT_TELL], "."]
    sentence = Sentence(tuple(parts))
    if told[FEW_CASES].value:
        few, have = told[FEW_CASES], "has" if told[FEW_CASES].value == 1 else "have"
        fewest = found.settings.unreliable_below
        sentence += say(*counted(few, "facility", "facilities"), f" {have} fewer than ", fewest, " cases on a side.")
    if told[NO_DATA].value:
        none, have = told[NO_DATA], "has" if told[NO_DATA].value == 1 else "have"
        sentence += say(*counted(none, "facility", "facilities"), f" {have} no hours on one side.")
    if disagree(found):
        sentence += say("Facilities point both ways: ask what differs before anything is taken to more of them.")
    return sentence


def _which(found: System, verdict: str) -> tuple[Part, ...]:
    names = tuple(short(row.name, 40) for row in found.facilities if row.change.verdict == verdict)
    number = dict(found.by_verdict)[verdict]
    if not names:
        return ("none",)
    told = counted(number, "facility", "facilities")
    return told if len(names) > _MOST_NAMED else (*told, f" ({listed(names)})")


def other_sentence(found: System) -> Sentence:
    """The same for injuries that training does not aim at: a check on everything else that changed."""
    other = found.pooled[-1]
    told = other.average or other.common
    if told is None or other.series == found.series or found.primary.verdict == "":
        return NOTHING
    first = say(f"For {SERIES_NAME[other.series]}, which training does not aim at, the ratio is ", told.value, " ",
                *_range(told), ".")  # fmt: skip
    if other.verdict == CANNOT_TELL:
        return first + say("So these data cannot tell whether other injuries changed in the same way.")
    if other.verdict == found.primary.verdict:
        return first + say("They moved the same way, so something other than training may be behind both.")
    return first + say(f"Their rate was {other.verdict} after training.")


def funnel_sentence(found: System) -> Sentence:
    """Which facilities lie beyond the outer limits of the funnel."""
    if found.funnel.reason:
        return say(
            "No funnel of facilities is drawn: fewer than two have hours, none has cases enough for a rate, or there "
            "is no case at all."
        )
    out = tuple(unit.name for unit in found.funnel.units if unit.where == BEYOND_998)
    widened = say(
        "The limits are widened by what facilities differ beyond chance." if found.funnel.widened else
        "The limits are those of chance alone."
    )  # fmt: skip
    beyond = say("Chance alone puts about one facility in ", RULES.outer_one_in, " beyond them.")
    if not out:
        return say("In the funnel no facility lies beyond the outer limits.") + beyond + widened
    lie = "lie" if len(out) > 1 else "lies"
    ask = say("Facilities differ in the people they care for, so this is a question to ask, not a mark.")
    return say(f"In the funnel {listed(out)} {lie} beyond the outer limits.") + beyond + widened + ask


def title(found: PooledRatio) -> Sentence:
    """The pooled answer as the title of a picture."""
    name = upper(SERIES_NAME[found.series])
    told = found.average or found.common
    if told is None:
        return say(f"{name}: nothing to pool yet")
    if found.average is None:
        return say(f"{name}: too few facilities for an average; one ratio for all would be ", told.value)
    if found.verdict == CANNOT_TELL:
        return say(f"{name}: cannot tell whether the rate changed (average ratio ", told.value, ")")
    return say(f"{name}: {found.verdict} after training, on average ", told.value, " times the rate before")


CAUTION = say(
    "These are recorded injuries, not all injuries. Before and after training is compared inside each facility; "
    "that is no proof that training is the cause. Each facility's own review shows the stronger comparisons."
)
RESTRICTED = say(
    "For the safety office and the safety committee of the system. Totals of a facility stand here however small, so "
    "this page is not for posting and does not go with a facility's wide copy."
)
PART_LEAD = "Whether rates changed with training, how far facilities differ, and which to ask."
METHOD_LEAD = "What was handed on, and what the numbers rest on."
ROW_AVERAGE = "All facilities, average"
ROW_COMMON = "All facilities, one ratio"


def forest_description(*, is_drawn: bool) -> Sentence:
    """The picture of ratios in words; ``is_drawn``: single facilities are in it."""
    rows = (
        "Each row is a facility: a dot for the ratio of its rate after training to its rate before, a line for the "
        "likely range. Hollow dots stand on few cases. "
        if is_drawn
        else "There are too many facilities to draw each. "
    )
    return say(
        rows, "The last rows are all facilities together: as if one ratio held in all, and on average. "
        "Left of the line at no change is a lower rate. The table gives "
        "every number.",
    )  # fmt: skip


FUNNEL_DESCRIPTION = say(
    "Funnel. Each dot is a facility, by its hours worked from left to right and its rate from bottom to top. Diamonds "
    "lie beyond the inner limits, squares beyond the outer ones. The solid line is all facilities together. Chance "
    "alone puts one facility in ", RULES.inner_one_in, " outside the dashed lines and one in ", RULES.outer_one_in,
    " outside the dotted ones. The table gives every number.",
)  # fmt: skip
POOLED_NOTE = (
    "Dashed mark: no change. Left of it is a lower rate after training. One more facility: where its true ratio would "
    "likely lie. The kinds overlap."
)
WHOLE_MARK = "Dashed mark in the picture: all facilities together."
HOW_POOLED = (
    say(
        "Each facility is compared with itself: its cases after training against its cases before, given its hours on "
        "each side. The true ratio may differ from facility to facility. The average is the middle of those ratios "
        "(binomial-normal model, by maximum likelihood)."
    ),
    say(
        "The ranges weigh every spread between facilities by how well it fits the data. They are wide where facilities "
        "are few. Spreads so large that ratios would differ many times over count for less."
    ),
    say("One ratio for all would be right only if training did the same everywhere. Its range is exact, or near it."),
    say("The ratio of a single facility has the same range as in its own review."),
)
HOW_FUNNEL = (
    say(
        "Facilities stand in alphabetical order, because a ranking of small ones mostly ranks chance. Cases and hours "
        "before, after and around training are all counted."
    ),
)


def handed_on(found: System) -> tuple[Sentence, ...]:
    """What left each facility, by which rule, and what the rule does to the totals."""
    return (
        say(
            "No row about a person left a facility. Each handed on cases and hours by quarter, unit and phase: before "
            "training, after it, or neither."
        ),
        say(
            "Where a count above nought and below ", found.settings.privacy_cell,
            " could be read from a cell, or where so few hours were worked in it that they could be one person's, it "
            "was put together with other cells of its phase. The totals of each phase stay what they were, so the "
            "ratios are the same as from the full tables.",
        ),
        say(
            "The totals of a facility were handed on however small. To leave them out would leave out just the "
            "facilities with few cases after training, and make the pooled ratio too high."
        ),
        say("Only quarters that are complete in every facility are counted. All facilities share these definitions."),
    )  # fmt: skip


TERMS = (
    ("Rate", say("Cases x 200,000 / hours worked: about the cases of 100 full-time staff in a year.")),
    ("Ratio", say("The rate after training over the rate before. Below one is a lower rate after.")),
    ("After training", say("From the end of the waiting time after a person's first class that counts.")),
    ("Likely between", say("The range that the data leave open, at the level of confidence stated above.")),
    ("Average facility", say("The middle of the true ratios of facilities like these.")),
    ("Funnel", say("Rates by hours, with the limits within which chance alone would keep them.")),
)
SOURCES = (
    "Stijnen T, Hamza TH, Ozdemir P. Random effects meta-analysis of event outcome in the framework of the generalized "
    "linear mixed model. Statistics in Medicine 2010.",
    "Röver C, Bender R, Dias S, and others. On weakly informative prior distributions for the heterogeneity parameter "
    "in Bayesian random-effects meta-analysis. Research Synthesis Methods 2021.",
    "Higgins JPT, Thompson SG, Spiegelhalter DJ. A re-evaluation of random-effects meta-analysis. JRSS A 2009.",
    "Spiegelhalter DJ. Funnel plots for comparing institutional performance. Statistics in Medicine 2005.",
    "29 CFR 1904 (recording of injuries); cases x 200,000 / hours, as the US Bureau of Labor Statistics has it.",
)


def shared(found: System, series: str, quarters: Sequence[str]) -> tuple[tuple[str, Part], ...]:
    """The facts at the head of the page: definitions that all facilities share."""
    waiting: Number = found.settings.washout_days
    return (
        ("Period", f"{found.start} to {found.end}"),
        ("Complete quarters", ", ".join(quarters) or "none"),
        ("Facilities", found.count),
        ("Injuries", series),
        ("Waiting time after class, days", waiting),
        ("Confidence", found.settings.confidence),
    )
