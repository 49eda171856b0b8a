"""Pictures in words: titles that state a finding, and descriptions for readers who do not see them."""

from __future__ import annotations

from handling_review.evidence.answer import Answer
from handling_review.evidence.assemble import Review
from handling_review.evidence.rates import Span
from handling_review.evidence.severity import SeverityEvidence
from handling_review.page.sentence import Part, Sentence, say
from handling_review.page.words.rates import SERIES_NAME, SERIES_ONE

_KINDS = (("recordable", "all recordable"), ("dart", "DART"), ("days_away", "with days away"))


def kinds_title(recent: Span | None) -> Sentence:
    """The rates of the three kinds over the last four quarters, as far as there are any."""
    parts: list[Part] = []
    for series, name in _KINDS if recent is not None else ():
        assert recent is not None
        if (rate := recent.of(series).rate) is not None:
            parts += ["; " if parts else "", f"{name} about ", rate]
    if not parts:
        return say("All recordable, DART and days-away injuries: no rate over four quarters yet")
    return say("Injuries in the last four quarters: ", *parts)


def severity_title(found: SeverityEvidence) -> Sentence:
    """Days per 200,000 hours of the latest window, with and without the longest case."""
    row = next((row for row in found.rows if row.days_rate is not None), None)
    if row is None or row.days_rate is None:
        return say("Days away and restricted: no rate yet")
    kind = "all recordable" if row.kind == "recordable" else "handling"
    start = say(f"{row.window[:1].upper()}{row.window[1:]}, {kind}: about ", row.days_rate.value, " days")
    if row.without_longest is None:
        return start
    return say(*start.parts, ", without the longest case ", row.without_longest.value)


def variants_title(answer: Answer) -> Sentence:
    """How many of the other ways of asking say lower, higher, or cannot tell."""
    found = answer.sensitivity.agreement
    if found is None or not found.with_answer.value:
        return say("The main answer and the other ways of asking")
    return say(
        "Of ", found.with_answer, " other ways of asking ", found.lower, " say lower, ", found.higher, " higher, and ",
        found.cannot_tell, " cannot tell",
    )  # fmt: skip


def rates_description(review: Review, series: str) -> Sentence:
    """The rates by quarter, with the lowest and the highest."""
    shown = [(n, span) for span in review.rates.quarters if (n := span.of(series).rate) is not None]
    if not shown:
        return say("Time chart without points: no quarter is complete.")
    if not any(span.of(series).events.value for _, span in shown):
        return say(
            f"Time chart. There was no {SERIES_ONE[series]} in any complete quarter. The upright line over each dot "
            "runs up to the rate that the hours cannot rule out. Dotted upright lines are program starts, boxed "
            "letters entries of the diary."
        )
    low = min(shown, key=lambda item: item[0].value or 0)
    high = max(shown, key=lambda item: item[0].value or 0)
    return say(
        f"Time chart. Each dot is the rate of {SERIES_NAME[series]} in one quarter, the upright line its likely range. "
        "The lowest is ", low[0], f" in {low[1].quarter}, the highest ", high[0], f" in {high[1].quarter}. A hollow "
        "dot is provisional. The grey line is the rate over four quarters together. Dotted upright lines are program "
        "starts, boxed letters entries of the diary.",
    )  # fmt: skip


KINDS_DESCRIPTION = say(
    "Three time charts under each other. Dots are quarters, upright lines their likely ranges. A grey line is the rate "
    "over four quarters together. Dotted upright lines are program starts."
)


COVERAGE_DESCRIPTION = say(
    "Line chart of the share of hours worked, quarter by quarter. Solid line, dots: staff with current training. "
    "Dashed, diamonds: staff whose training had lapsed. Dotted, squares: training not known. Dotted upright lines are "
    "program starts."
)


MIX_DESCRIPTION = say(
    "One dot a year: the share of recordable cases that were DART cases, with its likely range. A hollow dot "
    "is a year without four complete quarters."
)


RUNGS_DESCRIPTION = say(
    "Each row is one way of comparing: a dot for the ratio of the rate with the program to the rate without, and a "
    "line for its likely range. Left of the upright line of no change the rate with the program is lower, right of it "
    "higher. Hollow dots stand on few cases. A dashed line, where there is one, is the target. The table gives every "
    "number."
)


AROUND_START_DESCRIPTION = say(
    "Dots are the rates by quarter of all units with the program. A solid line is fitted before and after the start, "
    "which a dotted rule marks. The dashed line is the line before, carried on. Its likely range is a grey band. The "
    "table gives every number."
)


UNITS_DESCRIPTION = say(
    "Units from top to bottom in alphabetical order. A dot is a unit's rate over all complete quarters, with its "
    "likely range as a line. Hollow dots stand on few cases. A triangle on a dotted line is an upper limit, where "
    "there are too few cases for a rate. A dashed line marks the whole facility. The table gives every number."
)


FOREST_DESCRIPTION = say(
    "Each row is one comparison: a dot for the ratio of the rate after to the rate before, and a line for its likely "
    "range. Left of the upright line of no change the rate after is lower, right of it higher. Hollow dots stand on "
    "few cases. A dashed line, where there is one, is the target. The table gives every number."
)
