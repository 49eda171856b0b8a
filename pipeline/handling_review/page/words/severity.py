"""How long people are away, in words."""

from __future__ import annotations

from handling_review.evidence.numbers import Number
from handling_review.evidence.severity import ALL, BEFORE, RECENT, SeverityEvidence
from handling_review.evidence.stated import RULES
from handling_review.page.sentence import Part, Sentence, counted, say
from handling_review.page.words.rates import upper


def days_sentence(found: SeverityEvidence) -> Sentence:
    """Days lost in the last four quarters (or all), with and without the longest case, against the four before."""
    row = found.of(RECENT, "recordable") or found.of(ALL, "recordable")
    if row is None:
        return say("No quarter is complete yet, so no days can be set against hours.")
    if row.days_rate is None:
        return say(f"{upper(row.window)}: no recordable injury cost a day away or restricted.")
    sentence = say(
        f"{upper(row.window)}: about ", row.days_rate.value, " days away or restricted per 200,000 hours (likely "
        "between ",
        row.days_rate.lower, " and ", row.days_rate.upper, "), from ", *counted(row.cases, "case", "cases"), " and ",
        row.days, " days.",
    )  # fmt: skip
    if row.without_longest is not None:
        sentence = sentence + say(
            "Without the longest case (", row.longest, " days) it is ", row.without_longest.value, " (",
            row.without_longest.lower, " to ", row.without_longest.upper, ").",
        )  # fmt: skip
    before = found.of(BEFORE, "recordable")
    if before is not None and before.days_rate is not None and row.window == RECENT:
        sentence = sentence + say(
            "In the four quarters before: ", before.days_rate.value, " (", before.days_rate.lower, " to ",
            before.days_rate.upper, ").",
        )  # fmt: skip
    return sentence


def counting_sentence(found: SeverityEvidence) -> Sentence:
    """Counts that may still change."""
    cap = RULES.day_cap
    parts: list[tuple[tuple[Part, ...], Number]] = [
        (("days still counting: ",), found.still_counting),
        (("no days given: ",), found.no_days),
        (("within a month of the ", cap, " days at which counting may stop: "), found.near_cap),
        ((cap, " days reached: "), found.at_cap),
    ]
    told = [(words, number) for words, number in parts if number.value]
    if not told:
        return say("No case still counts days, and none is near the ", cap, " days at which counting may stop.")
    sentence = say("Cases to follow up: ")
    for at, (words, number) in enumerate(told):
        sentence = Sentence((*sentence.parts, "; " if at else "", *words, number))
    return Sentence((*sentence.parts, "."))


DAYS_NOTE = say(
    "Handling injuries are among all recordable ones. Days of one case count up to ", RULES.day_cap, " (29 CFR 1904.7)."
)


DAYS_DESCRIPTION = say(
    "For each window and kind of injury two dots with their likely ranges: the filled one stands for all cases, the "
    "hollow one below it leaves out the longest case. Where the two lie far apart, one case makes the figure."
)


HOW: tuple[Sentence, ...] = (
    say(
        "Days depend on how work is found for injured staff as much as on the injury. So the count of cases comes "
        "first, and no mean of days per case is given."
    ),
    say(
        "The range allows for how many cases happen and how long each lasts (", RULES.days_draws, " draws of the cases "
        "seen). With few cases it is too short: the longest case that could have happened was not seen.",
    ),
    say(
        "A case still counts days when its days reach into the week before the exports were taken. Restricted work and "
        "days away of one case are added."
    ),
)  # fmt: skip
