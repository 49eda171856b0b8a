"""Technique audits in words: the share done as taught, its change, the steps done less often."""

from __future__ import annotations

from handling_review.evidence.audits import WINDOW, AuditsEvidence
from handling_review.evidence.contrast import CANNOT_TELL, COUNTS_ONLY, HIGHER, LOWER, NO_DATA, Estimate
from handling_review.evidence.quarters import stretches
from handling_review.page.labels import ITEM
from handling_review.page.sentence import NOTHING, Part, Sentence, say


def _window(found: AuditsEvidence) -> str:
    """The quarters that are told of, in words."""
    named = "; ".join(stretches(found.now))
    if len(found.now) == 1:
        return named
    return f"{'the last four complete' if len(found.now) == WINDOW else 'the complete'} quarters ({named})"


def share_sentence(found: AuditsEvidence) -> Sentence:
    """The share of steps done as taught, by shape: no data, none judged, too few, or a share with its range."""
    if found.reason:
        return say(f"There is nothing to tell of technique audits: {found.reason}.")
    steps = found.facility.now
    if not steps.judged.value:
        if steps.not_applicable.value:
            return say(f"In {_window(found)} none of the ", steps.not_applicable, " audited steps applied.")
        return say(f"No step was audited in {_window(found)}.")
    if steps.share is None:
        return say(
            f"In {_window(found)} only ", steps.judged, " audited steps applied, of which ", steps.met,
            " were done as taught: too few for a share.",
        )  # fmt: skip
    return say(
        f"In {_window(found)}, ", steps.share.value, " of the audited steps were done as taught (likely between ",
        *ends_words(steps.share), "): ", steps.met, " of ", steps.judged, ".",
    )  # fmt: skip


def ends_words(found: Estimate) -> tuple[Part, ...]:
    """The likely range inside a sentence."""
    return found.lower, " and ", found.upper


def change_sentence(found: AuditsEvidence) -> Sentence:
    """The change from the four quarters before, by shape; nothing where there is no share to compare."""
    row = found.facility
    if found.reason or row.now.share is None:
        return NOTHING
    if not found.then:
        return say("There are not yet four complete quarters before these to compare with.")
    if row.then.share is None:
        if not row.then.judged.value:
            return say("No audited step applied in the four quarters before, so there is nothing to compare with.")
        return say("In the four quarters before, only ", row.then.judged, " audited steps applied: too few to compare.")
    assert row.change is not None
    by = (row.change.value, " percentage points (likely between ", *ends_words(row.change), ").")
    if row.verdict == CANNOT_TELL:
        return say(
            "In the four quarters before it was ", row.then.share.value, " (likely between ",
            *ends_words(row.then.share), "). A change of this size could be chance: ", *by,
        )  # fmt: skip
    return say(
        f"That is {row.verdict} than in the four quarters before, ", row.then.share.value, " (likely between ",
        *ends_words(row.then.share), "): a change of ", *by,
    )  # fmt: skip


def least_sentence(found: AuditsEvidence) -> Sentence:
    """The steps that are clearly done less often than the whole, in the order of the list; or that none is."""
    if found.reason or found.facility.now.share is None or not any(row.now.share for row in found.items):
        return NOTHING
    rows = found.least_met()
    if not rows:
        return say("No step stands out as done less often: the likely range of each reaches the share of all steps.")
    parts: list[Part] = ["Done less often than the steps together: "]
    for at, row in enumerate(rows):
        assert row.now.share is not None
        parts += ["; " if at else "", f"{ITEM[row.code]} (", row.now.share.value, ", likely between "]
        parts += [*ends_words(row.now.share), ")"]
    return say(*parts, ".")


def steps_title(found: AuditsEvidence) -> Sentence:
    """The share of all steps as a title."""
    row = found.facility
    if row.now.share is None:
        return say("Audited steps done as taught, step by step")
    ending = {
        HIGHER: ", higher than in the four before",
        LOWER: ", lower than in the four before",
        CANNOT_TELL: "; no clear change from the four before",
        COUNTS_ONLY: "",
        NO_DATA: "",
    }[row.verdict]
    when = "last four quarters" if len(found.now) == WINDOW else "complete quarters so far"
    return say("Done as taught: ", row.now.share.value, f" of audited steps in the {when}{ending}")


def steps_description(found: AuditsEvidence) -> Sentence:
    """The steps one by one for readers who do not see the picture."""
    text = say(
        "One line for each step of the audit. A filled dot is the share done as taught in the last quarters, a hollow "
        "dot that of the four quarters before. The line through a dot is its likely range. A dashed upright line is "
        "the share of all steps together."
    )
    shown = [(share, ITEM[row.code]) for row in found.items if (share := row.now.share)]
    if not shown:
        return text
    low, high = (pick(shown, key=lambda item: item[0].value.value or 0) for pick in (min, max))
    return text + say(
        f"Lowest now: {low[1]}, ", low[0].value, f"; highest: {high[1]}, ", high[0].value, ". The table gives every "
        "number.",
    )  # fmt: skip


HOW = (
    say(
        "Share: steps done as taught ÷ (done as taught + not). A step that did not apply is in neither. The range of a "
        "share is Wilson's interval, that of a change Newcombe's."
    ),
    say(
        "The ranges take each step as if it had been seen alone. The steps of one transfer are seen together and are "
        "alike, so the ranges are a little too narrow (common practice, no source)."
    ),
    say(
        "Many lines are compared at once: now and then one will seem to differ by chance alone. A line with very few "
        "steps judged gives counts only."
    ),
    say(
        "Staff who know that they are watched may take more care than on other days. Which transfers are watched "
        "differs from quarter to quarter. (Common practice, no source.) Audits are for teaching, not for ranking "
        "people."
    ),
)


NOT_APPLICABLE_NOTE = "Steps that did not apply to a transfer are counted in no share."
