"""Figures that may move before injuries do, in words."""

from __future__ import annotations

from handling_review.evidence.audits import LATER, LeadingEvidence
from handling_review.page.sentence import NOTHING, Part, Sentence, say, spoken
from handling_review.page.words.audits import ends_words
from handling_review.page.words.rates import SERIES_NAME, rate_sentence


def later() -> str:
    """By how much the injuries come after the early figures."""
    return {1: "one quarter", 2: "two quarters"}[LATER] + " later"


def title(found: LeadingEvidence) -> Sentence:
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


def description(found: LeadingEvidence) -> Sentence:
    """The small charts for readers who do not see them."""
    audits = "the share of audited steps done as taught, " if found.has_audits else ""
    return say(
        f"{'Four' if found.has_audits else 'Three'} small charts under each other with one quarter axis. From the top: "
        f"the share of hours worked with current training, {audits}first-aid cases per 200,000 hours, and "
        f"{SERIES_NAME[found.series]} per 200,000 hours {later()}. Dots are quarters, upright lines likely ranges, "
        "hollow dots provisional. Grey: not complete, or not known yet. The table gives every number."
    )


def sentences(found: LeadingEvidence) -> tuple[Sentence, ...]:
    """The latest quarter's early figures, the latest injuries beside them, and what they do not show."""
    if not found.rows:
        return (say("No quarter is complete yet, so there is nothing to set side by side."),)
    last = found.rows[-1]
    parts: list[Part] = [f"In {last.quarter}, "]
    if last.coverage is not None:
        parts += [last.coverage, " of the hours were worked by staff known to have current training"]
    if last.audits is not None and last.audits.share is not None:
        parts += [
            " and " if last.coverage is not None else "",
            last.audits.share.value,
            " of the audited steps were done as taught (likely between ",
        ]
        parts += [*ends_words(last.audits.share), ")"]
    first = NOTHING if len(parts) == 1 else say(*parts, ".")
    known = next((row for row in reversed(found.rows) if row.injuries is not None), None)
    if known is None or known.injuries is None:
        injuries = say(f"No quarter's injuries {later()} are known yet.")
    else:
        injuries = say(f"For {known.quarter} the injuries {later()} are known.") + rate_sentence(
            known.injuries, f"in {known.later_quarter}"
        )
    is_open = last.is_provisional or (known is not None and known.later_is_provisional)
    return spoken(
        first,
        rate_sentence(last.first_aid, f"in {last.quarter}"),
        injuries,
        say("The latest rates are provisional: late entries may still add cases.") if is_open else NOTHING,
        say(
            "These figures stand side by side, and no cause is claimed: other things change in the same quarters. More "
            "first-aid reports are often better reporting, not more harm."
        ),
    )


HOW: tuple[Sentence, ...] = (
    say(
        "Injuries are few, so their rate says late what has changed. Training, audits and first-aid reports are known "
        f"sooner. Each stands beside the injuries {later()}. That distance is a choice (common practice, no source). "
        "How well they go together is not measured: quarters are few, and all follow one program."
    ),
    say(
        "Hours are all counted, so the share with current training has no range. The range of the audits is Wilson's "
        "interval, that of a rate the exact one for a count of cases."
    ),
)
