"""Findings as plain text for a terminal: sentences wrapped, tables in columns."""

from __future__ import annotations

import textwrap

from handling_review.evidence.assemble import Review
from handling_review.evidence.numbers import Number
from handling_review.page.budget import findings
from handling_review.page.glyph import Glyph
from handling_review.page.numbered import Counter, Finding
from handling_review.page.tables import Cell, Table

_WIDTH = 110


def budget_case(review: Review) -> str:
    """The money findings of a review, without their numbers on the page."""
    return "\n".join(_finding(found) for found in findings(review, Counter()))


def _finding(found: Finding) -> str:
    lines = ["", found.title, "=" * len(found.title), ""]
    for sentence in found.says:
        lines += [*textwrap.wrap(sentence.text, _WIDTH), ""]
    for table in (*found.tables, *found.folded):
        lines += [*_table(table), ""]
    for sentence in found.how:
        lines += [*textwrap.wrap(sentence.text, _WIDTH), ""]
    return "\n".join(lines).rstrip() + "\n"


def _table(table: Table) -> list[str]:
    shown = [at for at, column in enumerate(table.columns) if column.kind != "picture"]
    head = [table.columns[at].title for at in shown]
    rows = [[_text(row[at]) for at in shown] for row in table.rows]
    widths = [max(len(one) for one in column) for column in zip(head, *rows, strict=True)]
    kinds = [table.columns[at].kind for at in shown]

    def line(cells: list[str]) -> str:
        placed = [
            cell.rjust(width) if kind == "number" else cell.ljust(width)
            for cell, width, kind in zip(cells, widths, kinds, strict=True)
        ]
        return "  ".join(placed).rstrip()

    notes = [part for text in table.notes for part in textwrap.wrap(str(text), _WIDTH)]
    return [
        str(table.caption),
        line(head),
        line(["-" * width for width in widths]),
        *(line(row) for row in rows),
        *notes,
    ]


def _text(cell: Cell) -> str:
    if cell is None or isinstance(cell, Glyph):
        return ""
    return cell.shown if isinstance(cell, Number) else str(cell)
