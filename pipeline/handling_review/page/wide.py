"""The copy for readers beyond the committee: a short page of its own, made of a white list and nothing else.

It holds no script, no data behind the print, and no number but those that can be read: cells are plain text.
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from handling_review import files
from handling_review.evidence.assemble import Review
from handling_review.evidence.numbers import Number
from handling_review.evidence.wide import Row, Wide
from handling_review.page.build import template_environment
from handling_review.page.glyph import HEIGHT, WIDTH, Glyph, Scale, bar_glyph, rate_scale
from handling_review.page.sentence import Sentence
from handling_review.page.tables import RATE_COLUMNS, Cell, Column, Table, rate_cells, rate_notes
from handling_review.page.words import data as words_data
from handling_review.page.words import glossary, method
from handling_review.page.words import wide as words
from handling_review.page.words.rates import SERIES_NAME, upper

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
_TERMS = ("rate", "recordable", "dart", "days-away", "handling", "trained", "hours", "complete", "likely")
_CAUTIONS = 7  # the first cautions of the review; those on costs and on single trials belong to parts left out here
_STATUS_TITLES = ("Current", "Lapsed", "Washout", "Not yet trained", "None on record", "Not known")


def render_wide(review: Review, wide: Wide) -> str:
    """The whole page. The same review gives the same bytes."""
    terms = {one.id: one for one in glossary.counting(review)}
    return (
        template_environment()
        .get_template("wide.html.j2")
        .render(
            scope=review.scope,
            caution=words_data.caution(review).text,
            rule=_texts(words.rule_sentences(wide)),
            stand=_texts(words.stand_sentences(wide)),
            series=tuple(_series_table(rows.series, rows.rows, review) for rows in wide.series),
            answer=_texts(words.answer_sentences(wide, review)),
            units=_texts(words.units_sentences(wide)),
            units_table=_units_table(wide, review) if wide.units else None,
            coverage=_texts(words.coverage_sentences(wide, review)),
            coverage_table=_coverage_table(wide) if wide.coverage else None,
            actions=_texts(words.action_sentences(wide, review)),
            terms=tuple((terms[name].term, terms[name].meaning.text) for name in _TERMS),
            cautions=method.CAUTIONS[:_CAUTIONS],
            left_out=_texts(words.left_out_sentences(review)),
            glyph_width=WIDTH,
            glyph_height=HEIGHT,
            style=Markup(files.read_text("reports", "review.css")),
            policy=POLICY,
        )
    )


def _texts(sentences: Sequence[Sentence]) -> tuple[str, ...]:
    return tuple(sentence.text for sentence in sentences)


def _plain(cell: Cell) -> Cell:
    """A cell as it is read: the exact value behind a rounded number would give more away than the number."""
    if isinstance(cell, Number):
        return cell.shown
    return cell.text if isinstance(cell, Sentence) else cell


def _rate_row(row: Row, scale: Scale) -> tuple[Cell, ...]:
    if row.rate is None:
        return (row.label, words.HIDDEN, row.hours.shown, words.HIDDEN, "", None)
    return (row.label, *(_plain(cell) for cell in rate_cells(row.rate, scale)))


def _rate_table(caption: str, first: Column, rows: Sequence[Row], review: Review) -> Table:
    shown = [row.rate for row in rows if row.rate is not None]
    scale = rate_scale(shown)
    return Table(
        caption,
        (first, *RATE_COLUMNS),
        tuple(_rate_row(row, scale) for row in rows),
        tuple(str(note) for note in rate_notes(shown, review)),
    )


def _series_table(series: str, rows: Sequence[Row], review: Review) -> Table:
    labelled = [Row(upper(row.label), row.hours, row.rate) for row in rows]
    caption = f"{upper(SERIES_NAME[series])}, per 200,000 hours"
    return _rate_table(caption, Column("Year", "label"), labelled, review)


def _units_table(wide: Wide, review: Review) -> Table:
    caption = f"{upper(SERIES_NAME[review.series])} by unit, whole period, per 200,000 hours"
    return _rate_table(caption, Column("Unit (alphabetical)"), wide.units, review)


def _coverage_table(wide: Wide) -> Table:
    rows = []
    for year in wide.coverage:
        picture: Glyph | None = bar_glyph(year.shares[0])
        rows.append((year.label, year.hours.shown, *(one.shown for one in year.shares), picture))
    return Table(
        "Hours worked, by training of those who worked them",
        (
            Column("Year", "label"),
            Column("Hours", "number"),
            *(Column(title, "number") for title in _STATUS_TITLES),
            Column("Current", "picture"),
        ),
        tuple(rows),
    )
