"""Notes under tables: marks and scales explained."""

from __future__ import annotations

from handling_review.evidence.numbers import Number
from handling_review.page.sentence import Sentence, say

FEW_MARK, SOME_MARK, PROVISIONAL_MARK = "§", "†", "‡"


def some_note(steady: Number) -> Sentence:
    """The mark of a rate that rests on some cases, but not many."""
    return say(f"{SOME_MARK} fewer than ", steady, " cases: one case more or less moves the rate a lot.")


def few_note(few: Number) -> Sentence:
    """The mark of an upper limit that stands in place of a rate."""
    return say(f"{FEW_MARK} fewer than ", few, " cases: an upper limit in place of a rate.")


PROVISIONAL = f"{PROVISIONAL_MARK} provisional: late entries may add cases."


KINDS_OVERLAP = "The kinds overlap: DART and days-away cases are also recordable cases."


FACILITY_MARK = "Dashed mark in the picture: the whole facility."


RATIO_MARK = "Dashed mark: the same rate as the other units. Left of it is a lower rate."


LAPSED_IN_BRACKETS = "In brackets: share of hours worked by staff whose training had lapsed, where there was any."


BEFORE_AFTER_SCALE = "Dashed mark: no change. Left of it is a lower rate after training."


NOT_DECIDED = (
    "Handling not decided: the log does not say whether handling was the cause. The share is of recordable cases."
)


FALL_MARK = "¶"


RATIO_SCALE = "Dashed mark: no change. Left of it is a lower rate."


FALL = f"{FALL_MARK} a fall, but no more than a general fall could explain."


NOT_SHIPPED = (
    "none known: take it from the industry table of the Survey of Occupational Injuries and Illnesses and add a row to "
    "reference_rates.csv"
)


FATES = (
    "Set aside: the row cannot be read or cannot be true. Excluded: the row is right and a stated rule leaves it out."
)


POSTED = (
    "Hours within half a percent count as agreeing. The log is kept up to date for five years after the year "
    "(29 CFR 1904.33). The posted summary is not, so a later entry explains a difference."
)


PUBLISHED = (
    "Published rates cover every cause and every job of the industry, and only non-fatal cases. They are no yardstick "
    "for handling injuries or for one unit. A small difference can be rounding. Another year or ownership is another "
    "group of facilities. Figures of 2020 to 2022 hold the illness of those years."
)
