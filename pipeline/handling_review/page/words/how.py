"""How we know: what stands under the findings on rates, units, training, the answer and the data."""

from __future__ import annotations

from handling_review.evidence.answer import Answer
from handling_review.evidence.before_after import BeforeAfter
from handling_review.page.sentence import Sentence, say

COMMITTEE_LEAD = "How often staff are hurt when moving people, where, and how far training has come."


ADMINISTRATOR_LEAD = "Whether the program worked, how sure that is, and what would change the answer."


NURSE_LEAD = "How long people are away, who is hurt and how, whether reporting is holding up, and what to put right."


RATES: tuple[Sentence, ...] = (
    say(
        "Each dot is cases × 200,000 ÷ hours worked in that quarter. The line is the same for four quarters together: "
        "cases and hours are added up before dividing. A quarter is never multiplied by four."
    ),
    say(
        "The likely range allows for chance alone. Two quarters whose ranges overlap can still differ; the "
        "sentences above compare the rates themselves."
    ),
)


NO_FOUR_QUARTERS = say("There are not yet four complete quarters in a row to set the kinds of injury side by side.")


KINDS: tuple[Sentence, ...] = (
    say("Days away depend on how work is found for injured staff, so the count of cases comes first."),
    say("The rate of all recordable injuries here counts deaths as well. The published rates do not."),
)


UNITS: tuple[Sentence, ...] = (
    say(
        "Units stand in alphabetical order, because a ranking of small units mostly ranks chance. Each unit with "
        "enough cases is set against all the others, over all complete quarters. The range is widened for the number "
        "of units looked at."
    ),
    say("A unit with no case is not a safe unit: its upper limit says how high the true rate could still be."),
)


COVERAGE: tuple[Sentence, ...] = (
    say(
        "Coverage is a share of hours, not of heads. A person who works every day counts for more than one who works "
        "one shift a month. Hours are all counted, so a share has no range."
    ),
    say(
        "Not yet trained: staff whose first training came later. None on record: staff without any, among them "
        "those who left before their unit's turn."
    ),
)


REPORTING: tuple[Sentence, ...] = (
    say(
        "More first-aid cases are often a sign of better reporting, not of more harm. When recordable cases "
        "become fewer and the share of serious ones grows, small injuries may be going unreported."
    ),
    say("The range of the DART share is Wilson's interval for a proportion."),
)


PEOPLE: tuple[Sentence, ...] = (
    say("Counts of people only. A list of people who are due is never part of this review."),
)


QUALITY: tuple[Sentence, ...] = (
    say("Every check ran on every row. A value that could point at a person is not repeated here."),
)


def did_it_work(answer: Answer) -> tuple[Sentence, ...]:
    """How the designs stand to each other, and when units count as started."""
    return (
        say(
            "The designs stand from weakest to strongest. The first ones can be fooled by anything else that changed "
            "in the same years. The last one can be fooled only by something that hit the units in the order in which "
            "they started."
        ),
        say(
            "Units started when the units file says so."
            if answer.starts_stated
            else "The units file states no start for some units. They are taken to start in the first quarter in "
            "which half of their hours were worked by people past their training."
        ),
        say(
            "In the quarter in which a unit starts, people are still being trained. So its rest belongs to neither "
            "side of the designs that compare units."
        ),
    )


def before_after(change: BeforeAfter) -> tuple[Sentence, ...]:
    """What the plain before and after comparison is made of, and what it cannot show."""
    return (
        say(f"Design: {change.design}. Each person's hours and cases are split at their own training date."),
        say(
            "The ratio and its range come from the cases and hours of the two phases compared. Staff with no "
            "training on record, staff whose training is not known, and the washout are in neither."
        ),
        say(
            "The hours before come only from staff who stayed long enough to be trained. Staff trained early may "
            "differ from staff trained late. Much else changed in these years. The comparison shows what happened "
            "along with the training, not what the training did."
        ),
    )


OTHER_WAYS_TITLE = say("The main answer and the other ways of asking")


OTHER_WAYS: tuple[Sentence, ...] = (
    say(
        "The main answer was fixed in the program file before looking. The others are there to see whether it hangs on "
        "one choice. None of them replaces it."
    ),
)


AROUND_START: tuple[Sentence, ...] = (
    say(
        "A line is fitted through the quarters before the start and carried on. What is seen after is held against it. "
        "With few quarters a line can lie far from the truth. Units that start one after the other blur the step."
    ),
)


SINCE_TRAINING: tuple[Sentence, ...] = (
    say(
        "Time runs from each person's first qualifying completion. The first band holds the training day and the "
        "washout too. Hours whose training had lapsed stand in a row of their own. People who are long past their "
        "training are those who stayed, so the bands also differ in who is in them."
    ),
)


CHANCE: tuple[Sentence, ...] = (
    say(
        "A unit's bad spell is partly its nature and partly bad luck, and the luck does not last. The expected "
        "fall comes from weighing each unit's record against the spread of all units (gamma-Poisson)."
    ),
)
