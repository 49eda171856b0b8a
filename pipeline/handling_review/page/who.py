"""Who is hurt, without who: sentences and tables of groups, and repeat injuries."""

from __future__ import annotations

from handling_review.evidence.assemble import Review
from handling_review.evidence.stated import settings
from handling_review.evidence.who import POOLED, UNKNOWN, WITH_HOURS, Grouping, GroupRow, WhoEvidence
from handling_review.page.glyph import Scale, rate_scale
from handling_review.page.labels import GROUP_KIND, group
from handling_review.page.numbered import Counter, Finding
from handling_review.page.sentence import NOTHING, spoken
from handling_review.page.tables import RATE_COLUMNS, Cell, Column, Table, rate_cells, rate_notes
from handling_review.page.words import who as words
from handling_review.page.words.rates import SERIES_NAME, upper


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
    fewest = settings(review.program).privacy_cell
    missing = [GROUP_KIND[g.kind] for g in found.groupings if not g.rows]
    return count.finding(
        "who",
        "Who is hurt, and how",
        spoken(
            words.largest_sentence(found),
            *(words.rates_sentence(found.of(kind)) for kind in WITH_HOURS),
            words.repeats_sentence(found.repeats),
            words.not_shown_sentence(missing) if missing else NOTHING,
        ),
        None,
        tuple(tables[:2]),
        words.how(fewest),
        tuple(tables[2:]),
    )
