"""Chunks of hours, written from rows as numbers: texts are looked up once a chunk, not once a row.

The same kind of chunk as those of the other files (``chunks``), and read back as they are. One piece of a part of time
is written while the next is put in order and a third is fetched.
"""

from __future__ import annotations

import contextlib
import hashlib
import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from handling_review import files
from handling_review.ahead import ahead
from handling_review.history import chunks
from handling_review.history.chunks import Chunk
from handling_review.history.hour_order import Loose, Ordered, Whole, gathered, in_order
from handling_review.history.hour_pieces import Part, pieces_of
from handling_review.intake.coding import HOURS, PERSON
from handling_review.store.database import Store

NAMES = tuple(name for name, _ in chunks.columns("hours"))
_SHARED = tuple(name for name in NAMES if name not in (PERSON, HOURS))
_LISTED = ", ".join(NAMES)
_AMOUNT = pa.decimal128(18, 4)
_UNNAMED = "hours.new"


@dataclass(frozen=True)
class _Fetched:
    """A piece of a part as the store has it, and the slots of the part."""

    part: Part
    rows: Loose
    slots: pa.Table
    is_last: bool


class _Words:
    """What the numbers of ordered rows stand for: ids, hours, and the columns that rows of a slot share."""

    def __init__(self, rows: Ordered, people: pa.Array, slots: pa.Table) -> None:
        self._rows = rows
        here = pa.array(rows.slots - slots["place"][0].as_py())
        self._without_id = int(len(rows.people) > 0 and rows.people[0] == 0)
        self.people = people.take(pa.array(rows.people[self._without_id :] - 1))
        self.shared = {name: slots[name].combine_chunks().take(here) for name in _SHARED}
        self._texts = {
            name: values.dictionary_encode() for name, values in self.shared.items() if pa.types.is_string(values.type)
        }
        self._amounts = decimals(rows.amounts)

    def add_to(self, digest: Any) -> None:
        """Everything that the rows say, whatever else the export holds."""
        counts = (self._without_id, len(self.people), len(self._rows.slots), len(self._rows.amounts), len(self._rows))
        digest.update(repr(counts).encode("ascii"))
        for values in (self.people, *self.shared.values()):
            _add(digest, values)
        add_numbers(digest, self._rows.amounts, "<i8")
        for numbers in (self._rows.person, self._rows.slot, self._rows.hours):
            add_numbers(digest, numbers, "<i4")

    def rows(self, first: int, last: int) -> pa.Table:
        """Rows from ``first`` up to before ``last`` in the columns of the contract."""
        at = self._rows.slot[first:last]
        made: Mapping[str, pa.Array] = {
            PERSON: self._ids(self._rows.person[first:last]),
            HOURS: self._amounts.take(pa.array(self._rows.hours[first:last])),
        } | {name: self._column(name, at) for name in _SHARED}
        return pa.table({name: made[name] for name in NAMES})

    def _ids(self, person: Whole) -> pa.Array:
        """Ids of rows that stand in the order of people, with a dictionary of those that occur."""
        number = person - self._without_id  # -1: none
        low, high = max(int(number[0]), 0), int(number[-1]) + 1
        mask = number < 0 if number[0] < 0 else None
        here = self.people.slice(low, max(high - low, 0))
        return pa.DictionaryArray.from_arrays(pa.array(number - low, mask=mask), here)

    def _column(self, name: str, at: Whole) -> pa.Array:
        values = self.shared[name]
        kind = self._texts[name].type if name in self._texts else values.type
        if values.null_count == len(values):
            return pa.nulls(len(at), kind)
        if name not in self._texts:
            return values.take(pa.array(at))
        text = self._texts[name]
        return pa.DictionaryArray.from_arrays(text.indices.take(pa.array(at)), text.dictionary)


def _add(digest: Any, values: pa.Array) -> None:
    """The values of texts or days, and which are null, as bytes that hang on nothing else."""
    add_numbers(digest, pc.is_null(values).to_numpy(zero_copy_only=False), "u1")
    if not pa.types.is_string(values.type):
        add_numbers(digest, values.cast(pa.int32()).fill_null(0).to_numpy(), "<i4")
        return
    if len(values):
        texts = values.fill_null("")
        starts = np.frombuffer(texts.buffers()[1], dtype=np.int32)[texts.offset : texts.offset + len(texts) + 1]
        add_numbers(digest, np.diff(starts), "<i4")
        digest.update((texts.buffers()[2] or b"")[starts[0] : starts[-1]])


def add_numbers(digest: Any, numbers: Whole, kind: str) -> None:
    """The numbers as bytes of one kind, the same on every machine."""
    digest.update(np.ascontiguousarray(numbers, dtype=kind).data)


def decimals(amounts: Whole) -> pa.Array:
    """Whole ten-thousandths as ``decimal128(18, 4)``: two words of 64 bits, the upper one the sign."""
    words = np.empty((len(amounts), 2), dtype=np.int64)
    words[:, 0], words[:, 1] = amounts, np.where(amounts < 0, -1, 0)
    return pa.Array.from_buffers(_AMOUNT, len(amounts), [None, pa.py_buffer(words)])


@dataclass(frozen=True)
class _Ready:
    """A piece of a part in order; the names of the content and of the places of the part come with its last piece."""

    part: Part
    rows: Ordered
    words: _Words
    names: tuple[str, str] | None


def keep(store: Store, folder: Path, sources: Sequence[Path], known: Sequence[Chunk] = ()) -> tuple[Chunk, ...]:
    """Write the store's accepted hours into ``folder``; chunks that a source folder holds already are taken from there.

    ``known``: chunks of the first files, whose rows are as they were in an earlier review; where all of them are still
    there these rows are not looked at.
    """
    folder.mkdir(mode=chunks.FOLDER_MODE, exist_ok=True)
    if not all(chunks.is_taken(*file, folder, sources) for chunk in known for file in chunk.names):
        known = ()
    store.run("work_kept_people")
    store.run("work_kept_slots")
    people = store.table(_sql("list_kept_people"))[PERSON].combine_chunks()
    after = max((chunk.file_no for chunk in known), default=0)
    parts = [Part(*row) for row in store.fetch(_sql("list_hour_parts"), [after])]
    kept = []
    with ahead(_fetched(store, parts)) as fetched, ahead(_ready(fetched, people)) as ready:
        for part, pieces in itertools.groupby(ready, key=lambda piece: piece.part):
            kept.append(_kept(part, pieces, folder, sources))
    return (*known, *sorted(kept, key=lambda chunk: (chunk.file_no, chunk.part)))


def _fetched(store: Store, parts: Iterable[Part]) -> Iterator[_Fetched]:
    for part in parts:
        slots = store.table(_sql("list_kept_slots"), (part.number,))
        pieces = pieces_of(store, part)
        for number, piece in enumerate(pieces, start=1):
            values = (part.file_no, part.number, *piece.slots, *piece.people)
            with store.stream(_sql("list_rows_to_keep"), values) as batches:
                rows = gathered(batches, piece.rows, part.first_record, part.first_line)
            yield _Fetched(part, rows, slots, number == len(pieces))


def _ready(fetched: Iterable[_Fetched], people: pa.Array) -> Iterator[_Ready]:
    content, places = hashlib.sha256(), hashlib.sha256()
    for piece in fetched:
        rows = in_order(piece.rows)
        words = _Words(rows, people, piece.slots)
        words.add_to(content)
        for numbers in (rows.record, rows.beyond):
            if numbers is not None:
                add_numbers(places, numbers, "<i8")
        names = None
        if piece.is_last:
            places.update(content.digest())
            listed = (_LISTED, piece.part.rows)
            names = (
                chunks.chunk_name("hours", "rows", *listed, content.hexdigest()),
                chunks.chunk_name("hours", "places", *listed, places.hexdigest()),
            )
            content, places = hashlib.sha256(), hashlib.sha256()  # of the next part
        yield _Ready(piece.part, rows, words, names)


def _kept(part: Part, pieces: Iterator[_Ready], folder: Path, sources: Sequence[Path]) -> Chunk:
    """The chunk of a part in the folder; only one of several pieces is written before its name is known."""
    piece = next(pieces)
    names = piece.names
    if names is None:
        unnamed = (folder / f"{_UNNAMED}-rows", folder / f"{_UNNAMED}-places")
        names = _written(itertools.chain([piece], pieces), *unnamed, with_lines=True)  # some pieces may need them
        for path, name in zip(unnamed, names, strict=True):
            if chunks.is_taken(f"{name}.parquet", None, folder, sources):
                path.unlink()
            else:
                path.replace(folder / f"{name}.parquet")
    else:
        needed = [not chunks.is_taken(f"{name}.parquet", None, folder, sources) for name in names]
        paths = [folder / f"{name}.parquet" if new else None for name, new in zip(names, needed, strict=True)]
        _written([piece], *paths, with_lines=piece.rows.beyond is not None)
    sizes = [(folder / f"{name}.parquet").stat().st_size for name in names]
    told = (chunks.part_name(part.number, has_quarters=True), part.rows, part.first_record, part.first_line)
    return Chunk("hours", part.file_no, *told, names[0], sizes[0], names[1], sizes[1])


def _written(
    pieces: Iterable[_Ready], content: Path | None, places: Path | None, *, with_lines: bool
) -> tuple[str, str]:
    """Write the pieces of a part into files (None: not needed); returns the names that its last piece brings."""
    names = None
    writers: dict[Path, Any] = {}
    with contextlib.ExitStack() as opened:
        for piece in pieces:
            names = piece.names
            for first in range(0, len(piece.rows), chunks.GROUP_ROWS):
                last = min(first + chunks.GROUP_ROWS, len(piece.rows))
                stood = partial(piece.rows.places, with_lines=with_lines)
                for path, made in ((content, piece.words.rows), (places, stood)):
                    if path is None:
                        continue
                    table = made(first, last)
                    if path not in writers:
                        writer = chunks.open_parquet(path, table.schema, is_places=path == places)
                        writers[path] = opened.enter_context(writer)
                    writers[path].write_table(table, row_group_size=chunks.GROUP_ROWS)
    if names is None:
        raise AssertionError("a part without a last piece")
    return names


def _sql(name: str) -> str:
    return files.read_text("sql", f"{name}.sql")
