"""Late reports in words: how long reports take, and what is still to be expected."""

from __future__ import annotations

from handling_review.evidence.late import LagRow, LateEvidence, Nowcast
from handling_review.evidence.stated import RULES
from handling_review.page.sentence import NOTHING, Sentence, counted, listed, say
from handling_review.page.words.rates import SERIES_NAME

_FEWEST_CASES = 5  # with fewer a quarter's median says nothing of how reports go
_RECENT = 4  # quarters in which the latest one with cases enough is looked for


def lag_sentence(found: LateEvidence) -> Sentence:
    """How long reports take, over all and in the latest quarter with any."""
    whole = found.whole
    if whole.median is None or whole.ninetieth is None or whole.slow is None:
        return say("The log gives no day of report, so nothing can be said of late reports.")
    sentence = say(
        "Half of the cases are reported within ", *counted(whole.median, "day", "days"), ", nine in ten within ",
        *counted(whole.ninetieth, "day", "days"), ". ",
        *(("After more than ", RULES.slow_report, " days come ", whole.slow, ".") if whole.slow.value
          else ("None takes longer than ", RULES.slow_report, " days.")),
    )  # fmt: skip
    enough = [
        row for row in found.rows[-_RECENT:] if row.median is not None and (row.cases.value or 0) >= _FEWEST_CASES
    ]
    latest = enough[-1] if enough else None
    if latest is not None and latest.median is not None and latest.ninetieth is not None:
        sentence = sentence + say(
            f"In {latest.name} it was ", *counted(latest.median, "day", "days"), " and ",
            *counted(latest.ninetieth, "day", "days"), " (from ", *counted(latest.cases, "case", "cases"), ").",
        )  # fmt: skip
    return sentence


def nowcast_sentence(found: LateEvidence) -> Sentence:
    """Late cases that are still to be expected of the latest quarters."""
    if found.whole.median is None:
        return NOTHING
    if found.reason:
        return say(f"Late cases of the latest quarters are not estimated: {found.reason}.")
    calm = tuple(item.quarter for item in found.nowcasts if not item.late.upper.value)
    sentence = NOTHING
    for item in found.nowcasts:
        if item.quarter not in calm:
            sentence = sentence + _one(item, found.series)
    if not calm:
        return sentence
    return sentence + say(
        f"From the delays seen here, no more {SERIES_NAME[found.series]} of {listed(calm)} are expected."
    )


def _one(item: Nowcast, series: str) -> Sentence:
    return say(
        f"{item.quarter}: ", item.reported, f" {SERIES_NAME[series]} are in the log; about ", item.late.value,
        " more may still be reported (between ", item.late.lower, " and ", item.late.upper, "). With them the rate "
        "would be ",
        item.rate.value, " (", item.rate.lower, " to ", item.rate.upper, ") in place of ", item.reported_rate, ".",
    )  # fmt: skip


LAG_NOTE = "Recent quarters look faster than they are: what will be late is not in the log yet."


NOWCAST_NOTE = "The rates elsewhere in this review are as reported. The range here is that of late cases only."


def lag_title(whole: LagRow) -> Sentence:
    """How long reports take, as a title."""
    return say(
        "Half of the cases are reported within ",
        *counted(whole.median or whole.cases, "day", "days"),
        ", nine in ten within ",
        *counted(whole.ninetieth or whole.cases, "day", "days"),
    )


LAG_DESCRIPTION = say(
    "Time chart of the days from event to report. A dot is the time within which half of a quarter's cases "
    "were reported. The top of its line is the time for nine in ten. Hollow dots are provisional."
)


def how(found: LateEvidence) -> tuple[Sentence, ...]:
    """What the estimate of late cases rests on."""
    return (
        say(
            "How much of a quarter is in the log by now is estimated from the facility's own reports: ",
            *counted(found.based_on, "recordable case", "recordable cases"), " with a day of report. They are read "
            "backwards from the day of the exports, so that long delays count as often as they happen (Kalbfleisch and "
            "Lawless 1989). A delay longer than any seen so far is not foreseen.",
        ),
        say(
            "The estimate stands beside the reported rate and replaces it nowhere. Its range carries the chance in the "
            "cases and in the delays."
        ),
    )  # fmt: skip
