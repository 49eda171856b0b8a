"""Findings as the titles of pictures, where a picture has a finding of its own."""

from __future__ import annotations

from handling_review.evidence.answer import Answer
from handling_review.evidence.audits import LeadingEvidence
from handling_review.evidence.rates import Span
from handling_review.evidence.severity import SeverityEvidence
from handling_review.page.sentence import Part, Sentence, say

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


def leading_title(found: LeadingEvidence) -> Sentence:
    """The latest early figures."""
    last = found.rows[-1]
    parts: list[Part] = []
    if last.coverage is not None:
        parts += [last.coverage, " of hours with current training"]
    if last.audits is not None and last.audits.share is not None:
        parts += [", " if parts else "", last.audits.share.value, " of audited steps as taught"]
    if last.first_aid.rate is not None:
        parts += [", " if parts else "", "first-aid rate ", last.first_aid.rate]
    if not parts:
        return say("Training, audits and first-aid reports: no figure of the latest quarter")
    return say(f"{last.quarter}: ", *parts)
