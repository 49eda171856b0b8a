"""Who is hurt, without who: groups and repeat injuries in words."""

from __future__ import annotations

from handling_review.evidence.numbers import Number
from handling_review.evidence.stated import RULES
from handling_review.evidence.who import POOLED, UNKNOWN, Grouping, GroupRow, Repeats, WhoEvidence
from handling_review.page.labels import GROUP_KIND, group
from handling_review.page.sentence import NOTHING, Part, Sentence, say
from handling_review.page.words.rates import SERIES_NAME


def largest_sentence(found: WhoEvidence) -> Sentence:
    """The group with the most cases of each kind that is given."""
    parts: list[Part] = []
    for grouping in found.groupings:
        rows = [row for row in grouping.rows if row.label not in (POOLED, *UNKNOWN) and row.cases.value]
        if rows and grouping.is_mostly_known:
            most = max(rows, key=lambda row: row.cases.value or 0)
            parts += ["; " if parts else "", f"{GROUP_KIND[grouping.kind]}: {group(grouping.kind, most.label)} (",
                      most.share, ")"]  # fmt: skip
    if not parts:
        return say(f"There are too few {SERIES_NAME[found.series]} to show them by group.")
    return say(
        f"From {found.first} to {found.last} there were ", found.total, f" {SERIES_NAME[found.series]}. The largest "
        f"groups: ",
        *parts, ".",
    )  # fmt: skip


def rates_sentence(grouping: Grouping) -> Sentence:
    """The groups with the highest and the lowest rate, where two or more have one."""
    rated = [row for row in grouping.rows if row.rate is not None and row.rate.rate is not None]
    if len(rated) < 2:
        return NOTHING
    high = max(rated, key=_value)
    low = min(rated, key=_value)
    assert high.rate is not None
    assert low.rate is not None
    return say(
        f"By {GROUP_KIND[grouping.kind]} the rate goes from ", low.rate.rate or "",
        f" ({group(grouping.kind, low.label)}) to ", high.rate.rate or "", f" ({group(grouping.kind, high.label)}) per "
        "200,000 hours. The ranges in the table show how much of that could be chance.",
    )  # fmt: skip


def _value(row: GroupRow) -> float:
    return float(row.rate.rate.value or 0) if row.rate is not None and row.rate.rate is not None else 0.0


def repeats_sentence(found: Repeats | None) -> Sentence:
    """People hurt twice or more, against chance."""
    if found is None:
        return say("Repeat injuries: too few cases can be linked to hours to say anything.")
    start = say(
        "People with two or more handling injuries: ", found.people, ". Had the ", found.linked,
        " linked cases fallen by "
        "chance, about ", found.expected, " people would have had two or more (likely between ", found.lower, " and ",
        found.upper, ").",
    )  # fmt: skip
    if found.is_more:
        return start + say("That is more than chance gives: ask whether people come back to the same work too soon.")
    if found.is_fewer:
        return start + say("That is fewer than chance gives.")
    return start + say("That is what chance would give.")


def not_shown_sentence(missing: list[str]) -> Sentence:
    """Kinds of group that are not shown."""
    return say(f"Not shown, because it is not given or there are too few cases: {', '.join(missing)}.")


def how(fewest: Number) -> tuple[Sentence, ...]:
    """How groups and repeat injuries are counted."""
    return (
        say(
            "A group with fewer than ", fewest, " cases is never shown alone. Such groups stand together under “all "
            "others”, with the next smallest group where they would still be too few. No table crosses job, unit and "
            "day.",
        ),
        say(
            "Time since the first hours runs from a person's first row in the hours file. It is known only where that "
            "file begins more than a month before that row."
        ),
        say(
            "Repeat injuries: privacy cases and cases without a number are not linked to anybody. The chance figure "
            "comes from ", RULES.repeat_draws, " random draws. It allows for hours and for the rate of each unit, not "
            "for how heavy each person's work is.",
        ),
        say(
            "Of several parts of the body the first counts. Hours of the day stand in blocks of four. Midnight counts "
            "as not given."
        ),
    )  # fmt: skip
