"""Refreshers due in words. Counts of people, never a name."""

from __future__ import annotations

from handling_review.evidence.stated import RULES
from handling_review.evidence.training_due import DueEvidence
from handling_review.page.sentence import NOTHING, Sentence, counted, say

MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def month_name(month: str) -> str:
    """``2026-09`` as "September 2026"."""
    return f"{MONTHS[int(month[5:]) - 1]} {month[:4]}"


def has_lapses(due: DueEvidence) -> bool:
    """Whether any training lapses at all."""
    return bool(due.overdue.value or due.due.value)


def due_sentence(due: DueEvidence) -> Sentence:
    """Who is overdue, who was never trained, and what falls due soon."""
    if not due.asked.value:
        return say(
            "In the last ",
            RULES.active_days,
            " days of the hours file nobody with an employee number worked outside comparison units. So "
            "nobody can be counted as due.",
        )
    people = counted(due.asked, "person", "people")
    start = (
        f"On {due.as_of}, of ",
        *people,
        " with hours in the last ",
        RULES.active_days,
        " days of the hours file, ",
    )
    if due.never_trained.value == due.asked.value:
        return say(*start, "nobody had a qualifying training on record.")
    if not has_lapses(due):
        missing = (due.never_trained, " had no") if due.never_trained.value else ("all had a",)
        return say(*start, *missing, " qualifying training on record. By the files as they are, no training lapses.")
    return say(
        *start, due.overdue, " had training that had lapsed and ", due.never_trained, " had no qualifying training on "
        "record. For ", due.soon, f" more it lapses by the end of {month_name(due.soon_through)}.",
    )  # fmt: skip


def apart_sentence(due: DueEvidence) -> Sentence:
    """People who are in none of these counts, and why."""
    sentence = NOTHING
    if due.unknown.value:
        sentence = sentence + say(
            "For ", due.unknown, " it is not known: the training file knows too few of the staff to call the others "
            "untrained.",
        )  # fmt: skip
    if due.comparison.value:
        sentence = sentence + say(
            *counted(due.comparison, "person of a comparison unit is", "people of comparison units are"),
            " left out: the program is not for them yet.",
        )  # fmt: skip
    return sentence


def how(due: DueEvidence) -> tuple[Sentence, ...]:
    """Who is counted, when training lapses, and where the list of people is."""
    if due.refresher_months is None:
        rule = say(
            "Training lapses on the day of expiry in the training file. The program file states no refresher rule."
        )
    else:
        rule = say(
            "Training lapses on the day of expiry in the training file, or ",
            *counted(due.refresher_months, "month", "months"), " after it was completed, whichever is first.",
        )  # fmt: skip
    return (
        say(
            "Still works here: has hours in the last ", RULES.active_days, " days of the hours inside the review "
            "(common practice, no source). Somebody on a longer leave is not counted; somebody who left within these "
            "days is. People count once, in the unit of most of these hours.",
        ),
        rule + say("The completion that reaches furthest counts."),
        say(
            "Hours without a number, as those of an agency often are, cannot be counted as people. They are in none of "
            "these counts."
        ),
        say(
            "Who they are is never in the review: no name, no employee number. The command “handling-review worklist” "
            "writes the list of numbers for those who schedule training, in a file that only its owner can read."
        ),
    )  # fmt: skip


COMPARISON_NOTE = "Comparison units are shown with their people only, so that nobody there is called up by mistake."


def due_title(due: DueEvidence) -> Sentence:
    """How many lapsed and how many soon will, as a title."""
    return say(
        "Training has lapsed for ",
        due.overdue,
        " and lapses for ",
        due.soon,
        " more by the end of ",
        month_name(due.soon_through),
    )


def due_description(due: DueEvidence) -> Sentence:
    """The bars for readers who do not see them."""
    return say(
        f"Bars. The hatched one on the left counts the people whose training had lapsed by {due.as_of}. The others "
        "count those whose training lapses in the rest of that month and in each of the ",
        RULES.months_ahead,
        " months after it. What lapses later, and who was never trained, stands in the tables only.",
    )
