"""Parquet files with the same columns: read as text, so that one contract judges both formats."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from handling_review.problems import DataProblem

BATCH_ROWS = 500_000
_DAMAGE = (pa.ArrowException, OSError, UnicodeError)  # the last where a column's name is no text


def column_names(path: Path) -> list[str]:
    """Names of the columns; raises ``DataProblem`` if the file is damaged."""
    try:
        return list(pq.ParquetFile(path).schema_arrow.names)
    except _DAMAGE as error:
        raise DataProblem(f"{path.name}: starts like Parquet but cannot be read. Export the file again.") from error


def blocks(path: Path, names: Sequence[str], positions: Sequence[int]) -> Iterator[pa.RecordBatch]:
    """Blocks of rows as dictionary-encoded text, columns named ``c<position>``; a missing value is an empty cell.

    ``names``: all columns of the file in order; ``positions``: those to read.
    """
    wanted = [names[i] for i in positions]
    try:
        for batch in pq.ParquetFile(path).iter_batches(batch_size=BATCH_ROWS, columns=wanted):
            arrays = [_text(path, name, batch.column(name)) for name in wanted]
            yield pa.RecordBatch.from_arrays(arrays, names=[f"c{i}" for i in positions])
    except _DAMAGE as error:
        raise DataProblem(f"{path.name}: the Parquet file is damaged. Export it again.") from error


def _text(path: Path, name: str, column: pa.Array) -> pa.DictionaryArray:
    try:
        text = pc.fill_null(column.cast(pa.string()), "")
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        raise DataProblem(
            f"{path.name}, column {name}: holds {column.type}, not text, numbers, dates or yes/no. Export it flat."
        ) from None
    encoded: pa.DictionaryArray = text.dictionary_encode()
    return encoded
