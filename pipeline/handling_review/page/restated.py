"""The table of restated numbers for the part on method and data."""

from __future__ import annotations

from handling_review.evidence.assemble import Review
from handling_review.page.sentence import NOTHING, Sentence
from handling_review.page.tables import Column, Table
from handling_review.page.words import restated as words

MOST_ROWS = 60  # on the page; all of them stand in the tables folder


def sentences(review: Review) -> tuple[Sentence, ...]:
    """What changed, with every changed setting."""
    said = words.changed_sentences(review.restated, review.series)
    if review.restated.is_first:
        return said
    settings = words.settings_sentence(review.restated, 12)
    return said if settings == NOTHING else (*said[:-1], settings)


def table(review: Review) -> Table | None:
    """Then, now, difference and reasons of each restated number but limits; none when none was restated."""
    rows = [row for row in review.restated.rows if not row.period.is_limit]
    rows.sort(key=lambda row: row.period.is_training)  # sorted() keeps the order of place and period within
    if not rows:
        return None
    more = len(rows) > MOST_ROWS
    return Table(
        f"Restated since the review as of {review.restated.changes.as_of}",
        (
            Column("Where"),
            Column("Period", "label"),
            Column("What"),
            Column("Then", "number"),
            Column("Now", "number"),
            Column("Difference", "number"),
            Column("Why"),
        ),
        tuple(
            (
                row.place,
                row.period.period,
                words.what(row),
                row.then or "not given",
                row.now or "not given",
                row.difference,
                words.reasons_sentence(row.reasons),
            )
            for row in rows[:MOST_ROWS]
        ),
        (words.table_note(is_cut=bool(more)),),
    )
