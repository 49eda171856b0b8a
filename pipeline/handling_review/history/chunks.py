"""Accepted rows kept in chunks that are named by their content, so that a chunk that did not change is kept once.

A chunk holds the rows of one input file and one part of time (a calendar quarter of hours, a year of other files). Its
name is made of its rows alone. Where the rows stood (record and line) lies in a second file, counted from the chunk's
own first record and line: rows that are added elsewhere in an export move neither. Hard links share a chunk between
the folders of several reviews; where the system has none, it is copied.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple, dataclass, fields
from datetime import date
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from handling_review.ahead import ahead
from handling_review.intake.contracts import contract
from handling_review.program import FILE_NAMES
from handling_review.store.database import Store

FOLDER = "snapshots"
MODE, FOLDER_MODE = 0o600, 0o700
GROUP_ROWS = 1 << 17
_DAY = {
    "incidents": "event_date",
    "training": "completed_on",
    "observations": "observed_on",
    "exposure": "period_start",
}
PLACE = (("record", "BIGINT"), ("line", "BIGINT"))


class DamagedSnapshot(Exception):
    """A chunk is missing, or is not what it was when it was written."""


@dataclass(frozen=True)
class Chunk:
    """Rows of one file and part of time. ``content`` and ``places`` are the names of its two files, without ending."""

    file: str
    file_no: int
    part: str
    rows: int
    first_record: int
    first_line: int
    content: str
    content_bytes: int
    places: str
    places_bytes: int

    @property
    def names(self) -> tuple[tuple[str, int], tuple[str, int]]:
        """Both file names with their sizes in bytes."""
        return (f"{self.content}.parquet", self.content_bytes), (f"{self.places}.parquet", self.places_bytes)


CHUNK_COLUMNS = tuple((f.name, "BIGINT" if f.type == "int" else "VARCHAR") for f in fields(Chunk))


def as_row(chunk: Chunk) -> tuple[Any, ...]:
    """A chunk as a row of the history."""
    return astuple(chunk)


def columns(file: str) -> list[tuple[str, str]]:
    """Columns of the accepted rows of a file, with their types in the store; where they stood comes beside."""
    return [(field.name, field.duckdb_type) for field in contract(file).fields]


def part_name(number: int, *, has_quarters: bool = False) -> str:
    """Name of a part of time by its number: its year, or year x 4 + quarter from 0; 0 stands for rows without a day."""
    if number == 0:
        return "none"
    return f"{number // 4}-Q{number % 4 + 1}" if has_quarters else f"{number}"


def keep(store: Store, folder: Path, sources: Sequence[Path]) -> tuple[Chunk, ...]:
    """Write the store's accepted rows of all files but hours (``hour_chunks``) into ``folder``.

    Chunks that a source folder holds already are taken from there.
    """
    folder.mkdir(mode=FOLDER_MODE, exist_ok=True)
    kept = []
    for file in (name for name in FILE_NAMES if name != "hours"):
        for found in _fingerprints(store, file):
            kept.append(_kept(store, folder, sources, file, found))
    return tuple(kept)


def share(chunks: Iterable[Chunk], folder: Path, sources: Sequence[Path]) -> None:
    """Put the files of earlier chunks into ``folder`` too. Raises ``DamagedSnapshot`` where one is missing."""
    folder.mkdir(mode=FOLDER_MODE, exist_ok=True)
    for chunk in chunks:
        for name, size in chunk.names:
            if not is_taken(name, size, folder, sources):
                raise DamagedSnapshot(name)


def is_whole(chunks: Iterable[Chunk], sources: Sequence[Path]) -> bool:
    """Whether every file of the chunks is there in its full size."""
    return all(any(_is_there(one / name, size) for one in sources) for chunk in chunks for name, size in chunk.names)


def load(store: Store, file: str, chunks: Iterable[Chunk], folder: Path, table: str, *, is_raw: bool = False) -> None:
    """Put the rows of the chunks into ``table`` in their old order, with the columns of ``raw_<file>``.

    The table is made for as long as the store is open, unless it is the raw table itself.
    """
    declared = [*columns(file), *PLACE, ("file_no", "INTEGER")]
    store.create(f"{table}_loose", declared)
    for chunk in sorted((c for c in chunks if c.file == file), key=lambda c: (c.file_no, c.first_record, c.part)):
        store.append(f"{table}_loose", _batches(chunk, folder, declared))
    if not is_raw:
        store.create(table, declared)
    store.execute(f'INSERT INTO "{table}" SELECT * FROM "{table}_loose" ORDER BY file_no, record')
    store.execute(f'DROP TABLE "{table}_loose"')


def write_parquet(batches: Iterable[pa.RecordBatch], schema: pa.Schema, path: Path, *, is_places: bool = False) -> int:
    """Write batches as one Parquet file that only its owner can read; returns its size in bytes."""
    with open_parquet(path, schema, is_places=is_places) as writer:
        for group in row_groups(batches, schema):
            writer.write_table(group, row_group_size=GROUP_ROWS)
    return path.stat().st_size


@contextlib.contextmanager
def open_parquet(path: Path, schema: pa.Schema, *, is_places: bool) -> Iterator[pq.ParquetWriter]:
    """A new Parquet file that only its owner can read, the same bytes for the same rows; closed with the block."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, MODE)
    with os.fdopen(handle, "wb") as out:
        counted = [one.name for one in schema if is_places or pa.types.is_date(one.type)]  # close to their neighbours
        options: dict[str, Any] = {"use_dictionary": [name for name in schema.names if name not in counted] or False}
        if counted:
            options["column_encoding"] = dict.fromkeys(counted, "DELTA_BINARY_PACKED")
        with pq.ParquetWriter(
            out, schema, compression="zstd", write_statistics=False, store_schema=False, **options
        ) as writer:
            yield writer


def row_groups(batches: Iterable[pa.RecordBatch], schema: pa.Schema) -> Iterator[pa.Table]:
    """Row groups of one fixed size, however the batches come in: the same rows give the same bytes."""
    waiting: list[pa.Table] = []
    rows = 0
    for batch in batches:
        waiting.append(pa.Table.from_batches([batch]).cast(schema))
        rows += batch.num_rows
        while rows >= GROUP_ROWS:
            whole = pa.concat_tables(waiting)
            yield whole.slice(0, GROUP_ROWS).combine_chunks()
            waiting, rows = [whole.slice(GROUP_ROWS)], rows - GROUP_ROWS
    if rows:
        yield pa.concat_tables(waiting).combine_chunks()


def _fingerprints(store: Store, file: str) -> list[tuple[Any, ...]]:
    """file_no, part, rows, first record, first line, name of the content, name of the places; in that order."""
    listed = ", ".join(f'"{name}"' for name, _ in columns(file))
    year = f"coalesce(date_part('year', {_DAY[file]}), 0)" if file in _DAY else "1"
    sql = f"""
        WITH marked AS NOT MATERIALIZED (
            SELECT file_no, {year} AS number, record, line, hash({listed}) AS one,
                hash('2', {listed}) AS two
            FROM raw_{file}
        ),
        firsts AS (
            SELECT file_no, number, min(record) AS record, min(line) AS line FROM marked GROUP BY file_no, number
        )
        SELECT m.file_no, m.number, count(*), any_value(f.record), any_value(f.line),
            sum(m.one), bit_xor(m.two),
            sum(hash(m.one, m.record - f.record, m.line - f.line)),
            bit_xor(hash(m.two, m.record - f.record, m.line - f.line))
        FROM marked AS m
        JOIN firsts AS f ON f.file_no = m.file_no AND f.number = m.number
        GROUP BY m.file_no, m.number
    """
    found = ((row[0], part_name(row[1]) if file in _DAY else "all", *row[2:]) for row in store.fetch(sql))
    return [
        (
            *row[:5],
            chunk_name(file, "rows", listed, row[2], row[5], row[6]),
            chunk_name(file, "places", listed, row[2], row[7], row[8]),
        )
        for row in sorted(found, key=lambda row: (row[0], row[1]))
    ]


def chunk_name(file: str, *parts: object) -> str:
    """Name of a file of a chunk, without its ending: its kind, and what was made of its rows."""
    text = " ".join(str(part) for part in parts)
    return f"{file}-{parts[0]}-{hashlib.sha256(text.encode('utf-8')).hexdigest()[:32]}"


def _kept(store: Store, folder: Path, sources: Sequence[Path], file: str, found: tuple[Any, ...]) -> Chunk:
    file_no, part, rows, first_record, first_line, content, places = found
    missing = [not is_taken(f"{name}.parquet", None, folder, sources) for name in (content, places)]
    if any(missing):
        listed = ", ".join(f'"{name}"' for name, _ in columns(file))
        rows_of_part, values = _of_part(file, part)
        sql = (
            f"SELECT {listed}, record - {int(first_record)} AS record, line - {int(first_line)} AS line "
            f"FROM ({rows_of_part}) AS one WHERE file_no = ? ORDER BY {_order(file)}, one.record"
        )
        with store.stream(sql, (*values, file_no)) as batches, contextlib.ExitStack() as opened:
            schema = _plain(batches.schema)
            width = len(schema) - len(PLACE)
            writers = []
            for name, needed, low, high in ((content, missing[0], 0, width), (places, missing[1], width, len(schema))):
                if needed:
                    part_schema = pa.schema([schema.field(place) for place in range(low, high)])
                    path = folder / f"{name}.parquet"
                    writers.append(
                        (opened.enter_context(open_parquet(path, part_schema, is_places=low > 0)), part_schema)
                    )
            groups = opened.enter_context(ahead(row_groups(batches, schema)))
            for group in groups:
                for writer, part_schema in writers:
                    writer.write_table(group.select(part_schema.names), row_group_size=GROUP_ROWS)
    sizes = [(folder / f"{name}.parquet").stat().st_size for name in (content, places)]
    return Chunk(file, file_no, part, rows, first_record, first_line, content, sizes[0], places, sizes[1])


def _of_part(file: str, part: str) -> tuple[str, tuple[date, ...]]:
    """A query for the rows of one part: by a condition on a single column, so that other blocks are not read."""
    day = _DAY.get(file)
    if day is None:
        return f"SELECT * FROM raw_{file}", ()
    if part == "none":
        return f"SELECT * FROM raw_{file} WHERE {day} IS NULL", ()
    year = int(part)
    return f"SELECT * FROM raw_{file} WHERE {day} >= ? AND {day} < ?", (date(year, 1, 1), date(year + 1, 1, 1))


def _order(file: str) -> str:
    """An order that rests on content alone: day and person, which packs well, then two hashes of the row.

    Rows that are equal in every column stand in the order of the export.
    """
    listed = ", ".join(f'"{name}"' for name, _ in columns(file))
    first = [_DAY[file]] if file in _DAY else []
    first += ["employee_id"] if any(name == "employee_id" for name, _ in columns(file)) else []
    return ", ".join([*(f"{one} NULLS FIRST" for one in first), f"hash({listed})", f"hash('2', {listed})"])


def _plain(schema: pa.Schema) -> pa.Schema:
    return pa.schema([pa.field(one.name, one.type) for one in schema])


def _is_there(path: Path, size: int | None) -> bool:
    with contextlib.suppress(OSError):
        return path.is_file() and not path.is_symlink() and (size is None or path.stat().st_size == size)
    return False


def is_taken(name: str, size: int | None, folder: Path, sources: Sequence[Path]) -> bool:
    """Whether the file is in the folder now, linked or copied from a source."""
    if _is_there(folder / name, size):
        return True
    for source in sources:
        if not _is_there(source / name, size) or not _can_be_read(source / name):
            continue
        try:
            os.link(source / name, folder / name)
        except OSError:  # another disk, or a system without hard links
            shutil.copyfile(source / name, folder / name)
        (folder / name).chmod(MODE)
        return True
    return False


def _can_be_read(path: Path) -> bool:
    """Whether the end of the file says that it was written to its end."""
    try:
        pq.read_metadata(path)
    except (OSError, pa.ArrowException):
        return False
    return True


def _batches(chunk: Chunk, folder: Path, declared: Sequence[tuple[str, str]]) -> pa.RecordBatchReader:
    """Rows and places of one chunk side by side, in the columns of the raw table."""
    (content, _), (places, _) = chunk.names
    names = [name for name, _ in declared]
    try:
        rows, stood = pq.ParquetFile(folder / content), pq.ParquetFile(folder / places)
        if rows.metadata.num_rows != chunk.rows or stood.metadata.num_rows != chunk.rows:
            raise DamagedSnapshot(content)
        tables = []
        for group in range(rows.num_row_groups):
            part, place = rows.read_row_group(group), stood.read_row_group(group)
            record = pc.add(place["record"], chunk.first_record)
            line = pc.add(place["line" if "line" in place.column_names else "record"], chunk.first_line)
            number = pa.repeat(pa.scalar(chunk.file_no, pa.int32()), part.num_rows)
            tables.append(pa.Table.from_arrays([*part.columns, record, line, number], names=names))
    except (OSError, pa.ArrowException, KeyError) as error:
        raise DamagedSnapshot(content) from error
    return pa.concat_tables(tables).to_reader()
