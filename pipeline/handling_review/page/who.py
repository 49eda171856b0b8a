"""Who is hurt, without who: sentences and tables of groups, and repeat injuries."""

from __future__ import annotations

from handling_review.evidence.assemble import Review
from handling_review.evidence.who import POOLED, UNKNOWN, WITH_HOURS, Grouping, GroupRow, Repeats, WhoEvidence
from handling_review.page.glyph import Scale, rate_scale
from handling_review.page.labels import GROUP_KIND, group
from handling_review.page.numbered import Counter, Finding, spoken
from handling_review.page.sentence import NOTHING, Part, Sentence, counted, say
from handling_review.page.tables import RATE_COLUMNS, Cell, Column, Table, rate_cells, rate_notes
from handling_review.page.words.rates import SERIES_NAME, upper


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
        "Of the ", found.total, f" {SERIES_NAME[found.series]} from {found.first} to {found.last}, most by ", *parts,
        "."
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
        f"By {GROUP_KIND[grouping.kind]} the rate ranges from ", low.rate.rate or "",
        f" ({group(grouping.kind, low.label)}) to ", high.rate.rate or "", f" ({group(grouping.kind, high.label)}) per "
        "200,000 hours; the ranges in the table say how much of that chance could give.",
    )  # fmt: skip


def _value(row: GroupRow) -> float:
    return float(row.rate.rate.value or 0) if row.rate is not None and row.rate.rate is not None else 0.0


def repeats_sentence(found: Repeats | None) -> Sentence:
    """People hurt twice or more, against chance."""
    if found is None:
        return say("Repeat injuries: too few cases can be linked to hours to say anything.")
    few = found.people.value is None
    start = say(
        *((upper(found.people.shown), " people") if few else counted(found.people, "person", "people")),
        " had two or more handling injuries. If the ", found.linked, " linked cases had fallen on people by chance, by "
        "their hours and the rate of their units, about ", found.expected, " would have (likely between ",
        found.lower, " and ", found.upper, ").",
    )  # fmt: skip
    if found.is_more:
        return start + say("That is more than chance gives: ask whether people come back to the same work too soon.")
    if found.is_fewer:
        return start + say("That is fewer than chance gives.")
    return start + say("That is what chance would give.")


def group_table(grouping: Grouping, found: WhoEvidence, review: Review) -> Table | None:
    """One kind of group; groups below the privacy threshold stand together."""
    if not grouping.rows:
        return None
    title = f"{upper(SERIES_NAME[found.series])} by {GROUP_KIND[grouping.kind]}, {found.first} to {found.last}"
    if grouping.kind not in WITH_HOURS:
        return Table(
            title,
            (Column(upper(GROUP_KIND[grouping.kind])), Column("Cases", "number"), Column("Share", "number")),
            tuple((_label(grouping.kind, row), row.cases, row.share) for row in grouping.rows),
        )
    rates = [row.rate for row in grouping.rows if row.rate is not None]
    scale = rate_scale(rates)
    return Table(
        title,
        (Column(upper(GROUP_KIND[grouping.kind])), Column("Share", "number"), *RATE_COLUMNS),
        tuple((_label(grouping.kind, row), row.share, *_cells(row, scale)) for row in grouping.rows),
        rate_notes(rates, review),
    )


def _cells(row: GroupRow, scale: Scale) -> tuple[Cell, ...]:
    if row.rate is None:
        return (row.cases, "", "", "hours not known by this group" if row.label in UNKNOWN else "", None)
    return rate_cells(row.rate, scale)


def _label(kind: str, row: GroupRow) -> str:
    if row.label == POOLED:
        return f"All others ({row.members} groups)" if row.members > 1 else "All others"
    return upper(group(kind, row.label))


def finding(review: Review, count: Counter) -> Finding:
    """The numbered finding for the nurse."""
    found = review.who
    tables = [table for grouping in found.groupings if (table := group_table(grouping, found, review)) is not None]
    fewest = review.program.thresholds.privacy_cell
    missing = [GROUP_KIND[g.kind] for g in found.groupings if not g.rows]
    return count.finding(
        "who",
        "Who is hurt, and how",
        spoken(
            largest_sentence(found),
            *(rates_sentence(found.of(kind)) for kind in WITH_HOURS),
            repeats_sentence(found.repeats),
            say(f"Not shown, because it is not given or there are too few cases: {', '.join(missing)}.")
            if missing
            else NOTHING,
        ),
        None,
        tuple(tables[:2]),
        (
            say(
                f"Groups with 1 to {fewest - 1} cases are never shown alone: they stand together under “all others”, "
                f"with "
                "the next smallest group where they would still be too few. No table crosses job, unit and day."
            ),
            say(
                "Time since the first hours is counted from a person's first hours in the hours file, and is known "
                "only where that file begins more than a month before them."
            ),
            say(
                "Repeat injuries: privacy cases and cases without a number are not linked to anybody. The chance "
                "figure comes from 2,000 random draws and allows for hours and units, not for how heavy each person's "
                "work is."
            ),
            say(
                "Of several parts of the body the first counts. Hours of the day stand in blocks of four; midnight "
                "counts as not given."
            ),
        ),
        tuple(tables[2:]),
    )
