"""The history of one facility's reviews: what each published, with which settings, from which chunks of rows.

It stands in four tables of ``review.duckdb``. A published number stands once for as long as it did not change:
``first_review`` and ``last_review`` count the reviews from 1. The last review of the book is the folder's own.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa

from handling_review.history.chunks import CHUNK_COLUMNS, Chunk, as_row
from handling_review.store.database import Store

FORMAT = 1  # raised when the tables below change their meaning
REVIEWS, NUMBERS, CHUNKS, REMOVALS = "history_reviews", "history_numbers", "history_chunks", "history_removals"
_REVIEW_COLUMNS = (
    ("review", "INTEGER"),
    ("format", "INTEGER"),
    ("run_id", "VARCHAR"),
    ("facility", "VARCHAR"),
    ("as_of", "DATE"),
    ("keeps_rows", "BOOLEAN"),
    ("about", "VARCHAR"),
)
_NUMBER_COLUMNS = (
    ("key", "VARCHAR"),
    ("unit", "VARCHAR"),
    ("value", "DOUBLE"),
    ("shown", "VARCHAR"),
    ("first_review", "INTEGER"),
    ("last_review", "INTEGER"),
)
_REMOVAL_COLUMNS = (
    ("removed_on", "DATE"),
    ("after_review", "INTEGER"),
    ("rows", "BIGINT"),
    ("reason", "VARCHAR"),
)
Shown = tuple[str, float | None, str]


class CannotRead(Exception):
    """The history of a folder cannot be read; the message is the end of a sentence."""


@dataclass(frozen=True)
class PastReview:
    """One review of the book.

    ``about``: days, settings, versions, inputs, unit_map, complete, findings, changes, as plain values. ``keeps_rows``
    is false once its rows were dropped under the retention rule.
    """

    run_id: str
    facility: str
    as_of: date
    about: Mapping[str, Any]
    chunks: tuple[Chunk, ...] = ()
    keeps_rows: bool = True


@dataclass(frozen=True)
class Kept:
    """One published number over the reviews in which it stood unchanged."""

    key: str
    unit: str
    value: float | None
    shown: str
    first: int
    last: int


@dataclass(frozen=True)
class Removal:
    """A person's rows taken out on request: the day, after which review, how many rows, why. Never who."""

    removed_on: date
    after_review: int
    rows: int
    reason: str


@dataclass(frozen=True)
class Book:
    """Reviews in order of their day, their published numbers, and the removals."""

    reviews: tuple[PastReview, ...] = ()
    numbers: tuple[Kept, ...] = ()
    removals: tuple[Removal, ...] = field(default=())

    def before(self, as_of: date) -> Book:
        """The book as it stood before a review of that day."""
        count = sum(1 for review in self.reviews if review.as_of < as_of)
        numbers = tuple(replace(n, last=min(n.last, count)) for n in self.numbers if n.first <= count)
        return Book(self.reviews[:count], numbers, tuple(r for r in self.removals if r.after_review <= count))

    def published(self) -> dict[str, Shown]:
        """Numbers of the last review: key to unit, value, and how it was shown."""
        count = len(self.reviews)
        return {n.key: (n.unit, n.value, n.shown) for n in self.numbers if n.last == count}

    def with_review(self, review: PastReview, numbers: Mapping[str, Shown]) -> Book:
        """The book with one more review at its end."""
        count = len(self.reviews) + 1
        kept = []
        fresh = dict(numbers)
        for number in self.numbers:
            same = (number.unit, number.value, number.shown)
            if number.last == count - 1 and number.key in fresh and fresh[number.key] == same:
                kept.append(replace(number, last=count))
                del fresh[number.key]
            else:
                kept.append(number)
        kept += [Kept(key, *shown, count, count) for key, shown in fresh.items()]
        ordered = tuple(sorted(kept, key=lambda n: (n.key, n.first)))
        return Book((*self.reviews, review), ordered, self.removals)


def write(store: Store, book: Book) -> None:
    """Write the book into the review's database, in place of what stands there."""
    for table in (REVIEWS, NUMBERS, CHUNKS, REMOVALS):
        store.execute(f"DROP TABLE IF EXISTS {table}")
    reviews = [
        (number, FORMAT, one.run_id, one.facility, one.as_of, one.keeps_rows, dump(one.about))
        for number, one in enumerate(book.reviews, start=1)
    ]
    store.fill(REVIEWS, _REVIEW_COLUMNS, reviews)
    store.fill(REMOVALS, _REMOVAL_COLUMNS, [(r.removed_on, r.after_review, r.rows, r.reason) for r in book.removals])
    _fill_fast(
        store, NUMBERS, _NUMBER_COLUMNS, [(n.key, n.unit, n.value, n.shown, n.first, n.last) for n in book.numbers]
    )
    chunks = [(number, *as_row(c)) for number, one in enumerate(book.reviews, start=1) for c in one.chunks]
    _fill_fast(store, CHUNKS, (("review", "INTEGER"), *CHUNK_COLUMNS), chunks)


def _fill_fast(store: Store, table: str, columns: Sequence[tuple[str, str]], rows: Iterable[Sequence[Any]]) -> None:
    kinds = {"INTEGER": pa.int32(), "BIGINT": pa.int64(), "DOUBLE": pa.float64(), "VARCHAR": pa.string()}
    listed = list(rows)
    arrays = [pa.array([row[place] for row in listed], kinds[kind]) for place, (_, kind) in enumerate(columns)]
    store.fill(table, columns, ())
    store.append(table, pa.Table.from_arrays(arrays, names=[name for name, _ in columns]).to_reader())


def read(database: Path) -> Book:
    """The book of a finished review. Raises ``CannotRead`` with the end of a sentence that says why it cannot be."""
    try:
        with duckdb.connect(str(database), read_only=True, config={"enable_external_access": "false"}) as con:
            return _read(con)
    except duckdb.CatalogException:
        raise CannotRead("was built by a version that kept no history") from None
    except duckdb.Error as error:
        newer = "newer version" in str(error).lower() or "storage version" in str(error).lower()
        raise CannotRead("was written by a newer version" if newer else "has a damaged database") from None
    except (OSError, ValueError, TypeError, KeyError):
        raise CannotRead("has a damaged database") from None


def _read(con: duckdb.DuckDBPyConnection) -> Book:
    formats = {row[0] for row in con.execute(f"SELECT DISTINCT format FROM {REVIEWS}").fetchall()}
    if any(one > FORMAT for one in formats):
        raise CannotRead("was written by a newer version")
    names = ", ".join(name for name, _ in CHUNK_COLUMNS)
    chunks: dict[int, list[Chunk]] = {}
    for number, *values in con.execute(f"SELECT review, {names} FROM {CHUNKS} ORDER BY rowid").fetchall():
        chunks.setdefault(number, []).append(Chunk(*values))
    rows = con.execute(f"SELECT * FROM {REVIEWS} ORDER BY review").fetchall()
    reviews = tuple(
        PastReview(run_id, facility, as_of, json.loads(about), tuple(chunks.get(number, ())), keeps_rows)
        for number, _, run_id, facility, as_of, keeps_rows, about in rows
    )
    if not reviews:
        raise CannotRead("has a damaged database")
    numbers = tuple(Kept(*row) for row in con.execute(f"SELECT * FROM {NUMBERS} ORDER BY key, first_review").fetchall())
    removals = tuple(Removal(*row) for row in con.execute(f"SELECT * FROM {REMOVALS} ORDER BY rowid").fetchall())
    return Book(reviews, numbers, removals)


def dump(value: object) -> str:
    """Plain values as one line of JSON, the same on every machine; days as text."""
    return json.dumps(value, default=str, ensure_ascii=False, separators=(",", ":"))
