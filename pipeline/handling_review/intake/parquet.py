"""Parquet files with the same columns: read as text, so that one contract judges both formats.

A small file can unpack to gigabytes. What its footer says of its size is held against limits before a page is read,
repeated text stays a dictionary, and blocks are cut by bytes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from handling_review.intake.opening import open_again
from handling_review.problems import DataProblem

BATCH_ROWS = 1_000_000
BATCH_BYTES = 64 << 20
MOST_ROWS = 2_000_000_000  # twenty times the hours of a health system
MOST_COLUMN_BYTES = 128 << 20  # of one column in one row group, unpacked: what others write for all columns together
LONGEST_TEXT = 1 << 16  # bytes; a longer cell is cut at once, and refused by every rule as it is
_MOST_PARTS = 100_000  # row groups, columns and the like that a footer may list
_MOST_TEXT = 16 << 20  # bytes of one text in a footer
_DAMAGE = (pa.ArrowException, OSError, UnicodeError)  # the last where a column's name is no text


def column_names(path: Path, seen: tuple[int, ...]) -> list[str]:
    """Names of the columns; raises ``DataProblem`` if the file is damaged."""
    try:
        with open_again(path, seen) as stream:
            return list(_file(stream).schema_arrow.names)
    except _DAMAGE as error:
        raise DataProblem(f"{path.name}: starts like Parquet but cannot be read. Export the file again.") from error


def row_count(path: Path, seen: tuple[int, ...]) -> int:
    """Rows of the file as its footer has them; 0 where that cannot be read."""
    try:
        with open_again(path, seen) as stream:
            return max(0, int(_file(stream).metadata.num_rows))
    except _DAMAGE:
        return 0


def blocks(
    path: Path, seen: tuple[int, ...], names: Sequence[str], positions: Sequence[int]
) -> Iterator[pa.RecordBatch]:
    """Blocks of rows as dictionary-encoded text, columns named ``c<position>``; a missing value is an empty cell.

    ``names``: all columns of the file in order; ``positions``: those to read.
    """
    wanted = [names[i] for i in positions]
    try:
        with open_again(path, seen) as stream:
            source = _file(stream, _kept_as_dictionary(_file(stream), wanted))
            rows = _refuse_bomb(path, source.metadata, set(wanted))
            batches = source.iter_batches(batch_size=rows, columns=wanted)
            for block in _joined(batches, rows):
                yield _coded(path, block, wanted, positions)
    except (*_DAMAGE, KeyError) as error:
        raise DataProblem(f"{path.name}: the Parquet file is damaged. Export it again.") from error


def _coded(path: Path, batch: pa.RecordBatch, wanted: Sequence[str], positions: Sequence[int]) -> pa.RecordBatch:
    arrays = [_text(path, name, batch.column(name)) for name in wanted]
    return pa.RecordBatch.from_arrays(arrays, names=[f"c{i}" for i in positions])


def _joined(batches: Iterable[pa.RecordBatch], rows: int) -> Iterator[pa.RecordBatch]:
    """Blocks of up to so many rows: row groups may be small, and each block has a price of its own."""
    waiting: list[pa.RecordBatch] = []
    for batch in batches:
        if waiting and sum(one.num_rows for one in waiting) + batch.num_rows > rows:
            yield _one_block(waiting)
            waiting = []
        waiting.append(batch)
    if waiting:
        yield _one_block(waiting)


def _one_block(batches: Sequence[pa.RecordBatch]) -> pa.RecordBatch:
    if len(batches) == 1:
        return batches[0]
    table = pa.Table.from_batches(batches).unify_dictionaries().combine_chunks()
    return pa.RecordBatch.from_arrays([column.chunk(0) for column in table.columns], names=table.column_names)


def _file(stream: BinaryIO, texts: Sequence[str] = ()) -> pq.ParquetFile:
    stream.seek(0)
    return pq.ParquetFile(
        stream,
        read_dictionary=list(texts) or None,
        pre_buffer=False,
        buffer_size=1 << 20,
        thrift_string_size_limit=_MOST_TEXT,
        thrift_container_size_limit=_MOST_PARTS,
    )


def _refuse_bomb(path: Path, footer: pq.FileMetaData, wanted: set[str]) -> int:
    """Refuse a file whose footer promises more than any export holds; returns how many rows to take at once."""
    if footer.num_rows > MOST_ROWS:
        raise DataProblem(f"{path.name}: {footer.num_rows:,} rows; at most {MOST_ROWS:,} are read. Export fewer years.")
    widest = 1.0
    for place in range(footer.num_row_groups):
        group = footer.row_group(place)
        total = 0
        for number in range(group.num_columns):
            column = group.column(number)
            if column.path_in_schema not in wanted:
                continue
            size = column.total_uncompressed_size
            if not 0 <= size <= MOST_COLUMN_BYTES:
                raise DataProblem(
                    f"{path.name}, column {column.path_in_schema}: unpacks to {size / (1 << 20):,.0f} MB in one piece; "
                    f"at most {MOST_COLUMN_BYTES >> 20:,} are read. Export it in row groups of a million rows, or as "
                    "CSV."
                )
            total += size
        widest = max(widest, total / max(group.num_rows, 1))
    return max(1, min(BATCH_ROWS, int(BATCH_BYTES / widest)))


def _kept_as_dictionary(file: pq.ParquetFile, wanted: Sequence[str]) -> list[str]:
    """Columns of text that the file keeps as a dictionary, and that are best read as one.

    Where too many texts differ, a writer gives up the dictionary; then making one for each row group and joining them
    would cost more than making one for each block.
    """
    if not file.metadata.num_row_groups:
        return []
    first = file.metadata.row_group(0)
    columns = (first.column(place) for place in range(first.num_columns))
    coded = {one.path_in_schema for one in columns if any("DICTIONARY" in encoding for encoding in one.encodings)}
    return [
        name for name in wanted if name in coded and "." not in name and _is_text(file.schema_arrow.field(name).type)
    ]


def _is_text(kind: pa.DataType) -> bool:
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))


def _cut(texts: pa.Array) -> pa.Array:
    """The texts, giants cut: still far too long for any column, and never blank."""
    long = pc.greater(pc.binary_length(texts), LONGEST_TEXT)
    if not pc.any(long).as_py():
        return texts
    short = pc.binary_join_element_wise(pc.utf8_slice_codeunits(texts, 0, LONGEST_TEXT // 8), "(cut)", "")
    return pc.if_else(long, short, texts)


def _text(path: Path, name: str, column: pa.Array) -> pa.DictionaryArray:
    """A column as dictionary-encoded text, held to be text: nobody checks the bytes of a Parquet file before."""
    found = _encoded(path, name, column)
    try:
        found.validate(full=True)
        found.dictionary.validate(full=True)
    except pa.ArrowInvalid:
        raise DataProblem(
            f"{path.name}, column {name}: holds bytes that are no text in UTF-8. The file is damaged, or what wrote it "
            "used another encoding. Export it again, or as CSV."
        ) from None
    return found


def _encoded(path: Path, name: str, column: pa.Array) -> pa.DictionaryArray:
    """A column as dictionary-encoded text: only distinct values are put into words."""
    try:
        if not pa.types.is_dictionary(column.type):
            column = column.dictionary_encode()
        entries = _cut(pc.fill_null(column.dictionary.cast(pa.string()), ""))
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError, pa.ArrowTypeError):
        raise DataProblem(
            f"{path.name}, column {name}: holds {column.type}, not text, numbers, dates or yes/no. Export it flat."
        ) from None
    places = column.indices.cast(pa.int32())
    if places.null_count:
        entries = pa.concat_arrays([entries, pa.array([""], pa.string())])
        places = pc.fill_null(places, len(entries) - 1)
    return pa.DictionaryArray.from_arrays(places, entries)
