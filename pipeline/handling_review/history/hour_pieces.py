"""A part of time of one file of hours, and its pieces that are put in order one after the other.

Rows are ordered by person, then slot: rows of some people in a row, or of one person and some slots in a row, stand
together, so that pieces in their order are the whole in its order.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from handling_review import files
from handling_review.store.database import Store

MOST_ROWS = 1 << 23  # of a piece: some 30 bytes each are held, and twice that while they are put in order
_ALL = (0, (1 << 31) - 1)  # every place


@dataclass(frozen=True)
class Part:
    """Rows of one file and quarter: its number, rows, first record and first line."""

    file_no: int
    number: int
    rows: int
    first_record: int
    first_line: int


@dataclass(frozen=True)
class Piece:
    """So many rows of a part, whose places of people and of slots lie in these ranges, ends included."""

    rows: int
    people: tuple[int, int] = _ALL
    slots: tuple[int, int] = _ALL


def pieces_of(store: Store, part: Part, most: int = MOST_ROWS) -> list[Piece]:
    """The pieces of a part, in order, of at most so many rows; rows of one person and slot stay together."""
    if part.rows <= most:
        return [Piece(part.rows)]
    found = []
    key = (part.file_no, part.number)
    for rows, people in _ranges(store.fetch(files.read_text("sql", "list_person_rows.sql"), key), most):
        if rows <= most:
            found.append(Piece(rows, people))
            continue
        by_slot = store.fetch(files.read_text("sql", "list_slot_rows.sql"), (*key, people[0]))
        found += [Piece(some, people, slots) for some, slots in _ranges(by_slot, most)]
    return found


def _ranges(counts: Iterable[tuple[int, int]], most: int) -> Iterator[tuple[int, tuple[int, int]]]:
    """Places in a row with their rows, joined while they have no more than ``most``."""
    first = last = rows = 0
    for place, more in counts:
        if rows and rows + more > most:
            yield rows, (first, last)
            rows = 0
        first, last, rows = place if not rows else first, place, rows + more
    if rows:
        yield rows, (first, last)
