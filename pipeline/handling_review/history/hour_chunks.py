"""Chunks of hours, written from rows as numbers: texts are looked up once a chunk, not once a row.

The same kind of chunk as those of the other files (``chunks``), and read back as they are.
"""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from handling_review import files
from handling_review.ahead import ahead
from handling_review.history import chunks
from handling_review.history.chunks import PLACE, Chunk
from handling_review.intake.coding import HOURS, PERSON
from handling_review.store.database import Store

Places = np.ndarray[Any, np.dtype[np.int64]]
LookUp = Callable[[Places], pa.Array]


@dataclass(frozen=True)
class _Part:
    """Rows of one file and quarter: its number, rows, first record and line, and the names of its two files."""

    file_no: int
    number: int
    rows: int
    first_record: int
    first_line: int
    content: str
    places: str


@dataclass(frozen=True)
class _Job:
    """A part of which the ``needed`` files are to be written."""

    part: _Part
    needed: tuple[str, ...]


def keep(store: Store, folder: Path, sources: Sequence[Path]) -> tuple[Chunk, ...]:
    """Write the store's accepted hours into ``folder``; chunks that a source folder holds already are taken from there.

    Costs one pass over the rows, and one more over what is new.
    """
    folder.mkdir(mode=chunks.FOLDER_MODE, exist_ok=True)
    store.run("work_kept_people")
    store.run("work_kept_slots")
    found = sorted(store.fetch(_sql("list_hour_parts")), key=lambda row: (row[0], _name_of(row[1])))
    listed = ", ".join(name for name, _ in chunks.columns("hours"))
    named = [
        _Part(
            *(file_no, number, rows, first_record, first_line),
            chunks.chunk_name("hours", "rows", listed, rows, *sums[:2]),
            chunks.chunk_name("hours", "places", listed, rows, *sums[2:]),
        )
        for file_no, number, rows, first_record, first_line, *sums in found
    ]
    claimed: set[str] = set()
    jobs = []
    for part in named:
        needed = tuple(
            name
            for name in (part.content, part.places)
            if name not in claimed and not chunks.is_taken(f"{name}.parquet", None, folder, sources)
        )
        claimed.update(needed)
        jobs += [_Job(part, needed)] if needed else []
    _write(store, folder, jobs)
    kept = []
    for part in named:
        sizes = [(folder / f"{name}.parquet").stat().st_size for name in (part.content, part.places)]
        told = (_name_of(part.number), part.rows, part.first_record, part.first_line)
        kept.append(Chunk("hours", part.file_no, *told, part.content, sizes[0], part.places, sizes[1]))
    return tuple(kept)


def _write(store: Store, folder: Path, jobs: Sequence[_Job]) -> None:
    """Write the files of each job; the rows of the next are put in order while those of the last are packed."""
    with ahead(_ordered(store, jobs)) as groups:
        for job, tables in itertools.groupby(groups, key=lambda found: found[0]):
            with contextlib.ExitStack() as opened:
                writers: dict[str, Any] = {}
                for _, rows, stood in tables:
                    for name in job.needed:
                        is_places = name == job.part.places
                        table = stood if is_places else rows()
                        if name not in writers:
                            path = folder / f"{name}.parquet"
                            writer = chunks.open_parquet(path, table.schema, is_places=is_places)
                            writers[name] = opened.enter_context(writer)
                        writers[name].write_table(table, row_group_size=chunks.GROUP_ROWS)


def _ordered(store: Store, jobs: Sequence[_Job]) -> Iterator[tuple[_Job, Callable[[], pa.Table], pa.Table]]:
    """Row groups of each job in order: what makes their content, and where they stood."""
    if not jobs:
        return
    people = _texts(store.table(_sql("list_kept_people"))["employee_id"])
    for job in jobs:
        part = job.part
        slots = store.table(_sql("list_kept_slots"), (part.number,))
        first = slots["place"][0].as_py()
        shared = {
            name: _texts(slots[name]) if pa.types.is_string(slots[name].type) else _values(slots[name])
            for name, _ in chunks.columns("hours")
            if name not in (PERSON, HOURS)
        }
        values = (part.first_record, part.first_line, part.number, part.file_no)
        with store.stream(_sql("list_rows_to_keep"), values) as batches:
            for group in chunks.row_groups(batches, batches.schema):
                stood = group.select([place for place, _ in PLACE])
                yield job, partial(_content, group, people, shared, first), stood


def _content(group: pa.Table, people: LookUp, shared: Mapping[str, LookUp], first: int) -> pa.Table:
    """A row group in the columns of the contract; ``first``: the place of the first slot of its part."""
    at = group["slot_place"].to_numpy().astype(np.int64) - first
    made = {name: look_up(at) for name, look_up in shared.items()}
    made[PERSON] = people(group["person_place"].to_numpy().astype(np.int64) - 1)
    made[HOURS] = group["hours"].combine_chunks()
    return pa.table({name: made[name] for name, _ in chunks.columns("hours")})


def _texts(column: pa.ChunkedArray) -> LookUp:
    """Looks up texts by their place in the column (below 0: none) as an array with a dictionary of what it holds."""
    coded = column.combine_chunks().dictionary_encode()
    number = np.append(coded.indices.fill_null(-1).to_numpy().astype(np.int64), -1)
    values = coded.dictionary

    def look_up(places: Places) -> pa.Array:
        at = number[places]
        present = np.zeros(len(values) + 1, dtype=bool)
        present[at] = True
        found = np.flatnonzero(present[:-1])
        new = np.zeros(len(values) + 1, dtype=np.int32)
        new[found] = np.arange(len(found), dtype=np.int32)
        return pa.DictionaryArray.from_arrays(pa.array(new[at], mask=at < 0), values.take(pa.array(found)))

    return look_up


def _values(column: pa.ChunkedArray) -> LookUp:
    """Looks up values that take no more room than a number by their place in the column."""
    whole = column.combine_chunks()
    return lambda places: whole.take(pa.array(places))


def _name_of(number: int) -> str:
    return chunks.part_name(number, has_quarters=True)


def _sql(name: str) -> str:
    return files.read_text("sql", f"{name}.sql")
