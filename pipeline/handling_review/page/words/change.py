"""Sentences about the before and after comparison: one branch for each shape it can have."""

from __future__ import annotations

from handling_review.evidence.before_after import BeforeAfter, Unclassified
from handling_review.evidence.contrast import (
    CANNOT_TELL,
    COUNTS_ONLY,
    FEW_CASES,
    HIGHER,
    LOWER,
    NO_DATA,
    Contrast,
)
from handling_review.evidence.ladder import Rung
from handling_review.evidence.stated import RULES
from handling_review.page.sentence import NOTHING, Sentence, counted, say
from handling_review.page.words.rates import SERIES_NAME, cases, upper

_FEWEST_YEARS = 0.25  # closer together a general fall comes to less than the last digit of a ratio


def change_sentence(item: Contrast) -> Sentence:
    """Did the rate change with training: lower, higher, cannot tell, few cases, no data, counts only."""
    name, (after, before) = SERIES_NAME[item.series], item.labels
    counts = (*cases(item.now).parts, f" {after}, against ", *cases(item.then).parts, f" {before}")
    if item.verdict == NO_DATA:
        missing = before if not item.then.hours.value else after
        return say(f"There is nothing to compare for {name}: the complete quarters hold no hours worked {missing}.")
    if item.verdict == COUNTS_ONLY and not (item.now.hours.value or item.then.hours.value):
        return say(f"There is nothing to compare for {name}: no quarter is complete.")
    if item.verdict == COUNTS_ONLY:
        return say(
            f"Counts only for {name}: ", *counts,
            ". The quarters that hold the rest of the hours are incomplete, so no rate is set against another.",
        )  # fmt: skip
    assert item.ratio is not None
    if item.verdict == FEW_CASES:
        return say(f"{upper(name)}: ", *counts, ". ", *_few_cases(item).parts)
    assert item.now.rate is not None
    assert item.then.rate is not None
    times = (
        "Per 200,000 hours that is ", item.now.rate, " after and ", item.then.rate, " before: a ratio of ",
        item.ratio.value, " (likely between ", item.ratio.lower, " and ", item.ratio.upper, ").",
    )  # fmt: skip
    if item.verdict == CANNOT_TELL:
        return say(
            f"These data cannot tell whether the rate of {name} changed with training. The counts: ", *counts, ". ",
            *times, " That range takes in both a fall and a rise.",
        )  # fmt: skip
    direction = "lower" if item.verdict == LOWER else "higher"
    return say(f"The rate of {name} was {direction} {after} than {before}. The counts: ", *counts, ". ", *times)


def _few_cases(item: Contrast) -> Sentence:
    assert item.ratio is not None
    if item.ratio.value.value is None:
        return say("With no case on either side there is no ratio to print.")
    if item.ratio.value.value == float("inf"):
        return say(
            "That is too few cases for a firm comparison. With no case before there is no ratio; from the "
            "hours alone it could be as low as ", item.ratio.lower, ".",
        )  # fmt: skip
    sentence = say(
        "That is too few cases for a firm comparison. The ratio of the rates is ", item.ratio.value,
        " (likely between ", item.ratio.lower, " and ", item.ratio.upper, ").",
    )  # fmt: skip
    if item.direction == CANNOT_TELL:
        return sentence
    side = "a fall" if item.direction == LOWER else "a rise"
    return sentence + say(f"The whole range is {side}, but with so few cases its size is uncertain.")


def change_title(item: Contrast) -> Sentence:
    """The answer for one series as a title."""
    name = upper(SERIES_NAME[item.series])
    if item.ratio is None:
        return say(f"{name}: nothing to compare yet" if item.verdict == NO_DATA else f"{name}: counts only")
    if item.verdict == FEW_CASES:
        return say(f"{name}: too few cases to tell")
    if item.verdict == CANNOT_TELL:
        return say(f"{name}: cannot tell whether the rate changed (ratio ", item.ratio.value, ")")
    return say(f"{name}: {item.verdict} after training, ", item.ratio.value, " times the rate before")


def avoided_sentence(item: Contrast) -> Sentence:
    """Cases avoided on the hours after, with the range; below zero means more cases, not fewer."""
    if item.avoided is None or item.difference is None or not (item.now.events.value or item.then.events.value):
        return NOTHING
    number = item.avoided
    low = number.lower.value
    sentence = say(
        "Had the rate before held on the hours after, about ", number.value,
        " more cases than were recorded would have been expected (likely between ", number.lower, " and ",
        number.upper, ").",
    )  # fmt: skip
    if number.value.value is not None and number.value.value < 0:
        sentence = say(
            "Cases avoided, counted against the rate before: ", number.value, " (likely between ",
            number.lower, " and ", number.upper, "). Below zero means more cases than expected, not fewer.",
        )  # fmt: skip
    elif low is not None and low < 0:
        sentence = sentence + say("Below zero means more cases than expected, not fewer.")
    return sentence


def background_sentence(change: BeforeAfter) -> Sentence:
    """What a national fall alone would give over the same distance in time."""
    apart = change.background
    item = change.primary
    if (
        apart is None
        or (apart.years_apart.value or 0) < _FEWEST_YEARS
        or not (item.now.events.value or item.then.events.value)
    ):
        return NOTHING
    return say(
        "The middle of the hours after lies ", apart.years_apart, " years after the middle of the hours before. "
        "Rates in the country as a whole have been falling by about ", RULES.slow_fall, " to ", RULES.fast_fall,
        " a year. That alone would give a ratio of about ", apart.ratio_if_fast_fall, " to ",
        apart.ratio_if_slow_fall, ".",
    )  # fmt: skip


def comparison_series_sentence(change: BeforeAfter, control: Rung) -> Sentence:
    """The same comparison for injuries that the training does not aim at; ``control``: one held against the other."""
    item, primary = change.comparison, change.primary
    if item.ratio is None:
        return NOTHING
    verb = "was" if item.now.events.value == 1 else "were"
    name = f"This training does not aim at injuries that do not come from handling. Of those there {verb} "
    counts = say(
        *counted(item.now.events, "case", "cases"), " after and ", item.then.events, " before, on the same hours"
    )
    if item.verdict == FEW_CASES:
        return say(name, *counts.parts, ". That is too few to set beside the handling injuries.")
    start = say(
        name, *counts.parts, ": a ratio of ", item.ratio.value, " (likely between ", item.ratio.lower, " and ",
        item.ratio.upper, ").",
    )  # fmt: skip
    if item.direction == primary.direction and item.direction in (LOWER, HIGHER):
        start = start + say(
            "They moved the same way as the handling injuries. So something other than the program may lie behind both."
        )
    elif item.direction == CANNOT_TELL:
        start = start + say("They show no clear change, though with these cases a real one could be missed.")
    else:
        start = start + say("They did not move with the handling injuries.")
    if control.ratio is None:
        return start
    return start + say(
        "Held against them, the handling injuries changed by a ratio of ", control.ratio.value,
        " (likely between ", control.ratio.lower, " and ", control.ratio.upper, ").",
    )  # fmt: skip


def target_sentence(change: BeforeAfter) -> Sentence:
    """Where the target ratio lies against the likely range."""
    item, target = change.primary, change.target_ratio
    if item.ratio is None or item.ratio.upper.value is None or item.verdict == FEW_CASES:
        return NOTHING
    goal = float(target.value or 0)
    low, high = float(item.ratio.lower.value or 0), float(item.ratio.upper.value)
    if high <= goal:
        return say("The whole likely range is at or below the target ratio of ", target, ".")
    if low > goal:
        return say("The target ratio of ", target, " lies outside the likely range: the data speak against it.")
    return say(
        "The target ratio of ", target, " lies inside the likely range: the data fit it. They fit any ratio up "
        "to ", item.ratio.upper, " as well.",
    )  # fmt: skip


def unclassified_sentence(bounds: Unclassified) -> Sentence:
    """What the undecided cases could do to the answer; nothing when there are none."""
    before, after = bounds.cases_before, bounds.cases_after
    if not before.value and not after.value:
        return NOTHING
    low, high = bounds.most_favourable.ratio, bounds.least_favourable.ratio
    start = say(
        "For ", before, " of the recordable cases before training and ", after, " after, the log does not say "
        "whether they came from handling.",
    )  # fmt: skip
    if low is None or high is None:
        return start
    text = say("Counting them for or against the program moves the ratio from ", low.value, " to ", high.value, ".")
    if bounds.leads:
        text = text + say(
            "They are ", bounds.share, " of the cases that could count, so read this range before the estimate."
        )  # fmt: skip
    return start + text


def turning_sentence(change: BeforeAfter) -> Sentence:
    """How many cases after training would turn the answer, with everything else as it is."""
    turn, item = change.turning, change.primary
    if turn is None:
        return NOTHING
    were = "there was " if item.now.events.value == 1 else "there were "
    ends = (
        "“higher” with ",
        *counted(turn.higher_at_least, "case", "cases"),
        f" or more. {upper(were)}",
        item.now.events,
        ".",
    )
    start = "What would change the answer? With the same hours and "
    before = (*counted(item.then.events, "case", "cases"), " before training, it would say ")
    if turn.lower_at_most is None:
        return say(start, *before, "“lower” with no number of cases after training, and ", *ends)
    lower = counted(turn.lower_at_most, "case", "cases")
    return say(start, *before, "“lower” with ", *lower, " or fewer after training, and ", *ends)


def diary_sentence(has_entries: bool) -> Sentence:
    """Where to read what else changed, or that nobody wrote it down."""
    if has_entries:
        return say("What else happened in these years is in the diary under the first finding.")
    return say(
        "No diary of other changes was given. Ask what else changed in these years: staffing, people, equipment."
    )
