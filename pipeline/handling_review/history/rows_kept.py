"""Rows of this build and of earlier ones into its snapshot folder; how this build counted them, beside them."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from handling_review.history import chunks, hour_chunks
from handling_review.history.chunks import Chunk, DamagedSnapshot
from handling_review.history.find import Earlier
from handling_review.store.database import Store

COUNTED, ASIDE = "counted", "aside"  # cases with what the review made of them; hours rows that a cross-rule left out
_NOTES = {
    COUNTED: "SELECT file_no, record, unit, outcome, is_handling, is_recordable, is_dart, fate FROM stg_incidents "
    "ORDER BY file_no, record",
    ASIDE: "SELECT file_no, record FROM int_repeated_rows WHERE file = 'hours' UNION SELECT file_no, record FROM "
    "int_double_loads UNION SELECT file_no, record FROM int_negative_totals ORDER BY 1, 2",
}
NOTE_COLUMNS = {
    COUNTED: [
        ("file_no", "INTEGER"), ("record", "BIGINT"), ("unit", "VARCHAR"), ("outcome", "VARCHAR"),
        ("is_handling", "BOOLEAN"), ("is_recordable", "BOOLEAN"), ("is_dart", "BOOLEAN"), ("fate", "VARCHAR"),
    ],
    ASIDE: [("file_no", "INTEGER"), ("record", "BIGINT")],
}  # fmt: skip


def keep_rows(store: Store, folder: Path, earlier: Earlier, taken_over: int = 0) -> tuple[Chunk, ...]:
    """Chunks of this build, written or shared; those of earlier reviews are shared into the folder too.

    ``taken_over``: how many of the first files of hours stand in the database as the last review had them.
    """
    known = earlier.hours_of(taken_over)
    kept = (*chunks.keep(store, folder, earlier.sources), *hour_chunks.keep(store, folder, earlier.sources, known))
    notes = tuple(_note(store, folder, name, sql, earlier.sources) for name, sql in _NOTES.items())
    for review in earlier.book.reviews:
        chunks.share(review.chunks, folder, earlier.sources)
    return (*kept, *notes)


def load_note(store: Store, name: str, kept: Sequence[Chunk], folder: Path, table: str) -> None:
    """Put one of the notes of a review into a table that lasts while the store is open."""
    store.create(table, NOTE_COLUMNS[name])
    for chunk in kept:
        if chunk.file == name:
            try:
                store.append(table, pq.read_table(folder / chunk.names[0][0]).to_reader())
            except (OSError, pa.ArrowException) as error:
                raise DamagedSnapshot(chunk.content) from error


def _note(store: Store, folder: Path, name: str, sql: str, sources: Sequence[Path]) -> Chunk:
    unnamed = folder / f"{name}.new"
    with store.stream(sql) as batches:
        found = pa.Table.from_batches(list(batches), batches.schema)
    size = chunks.write_parquet(found.to_batches(), found.schema, unnamed)
    content = f"{name}-{hashlib.sha256(unnamed.read_bytes()).hexdigest()[:32]}"
    if chunks.is_taken(f"{content}.parquet", size, folder, sources):
        unnamed.unlink()
    else:
        unnamed.replace(folder / f"{content}.parquet")
    return Chunk(name, 0, "all", found.num_rows, 0, 0, content, size, content, size)
