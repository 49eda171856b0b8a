"""One person taken out of a review's database and of all kept chunks, while what was counted stays.

Training rows are only about the person and go. Hours and cases belong to totals that must be kept (the log for five
years, 29 CFR 1904.33), so their rows stay without whatever points at the person: id, case number, job, hour of the day.
That is how the log itself treats a privacy case (29 CFR 1904.29). The database is written anew, row by row, since
DuckDB leaves old bytes in free blocks.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import duckdb
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from handling_review.history import chunks
from handling_review.history.book import PastReview
from handling_review.history.chunks import Chunk, DamagedSnapshot
from handling_review.history.erase_hours import TABLES as HOURS_TABLES
from handling_review.history.erase_hours import erase_hours
from handling_review.problems import OutputProblem
from handling_review.store.database import STORAGE_VERSION

PERSON = "employee_id"
_ONLY_THEIRS = frozenset({"training", "raw_training", "raw_ids", "int_training_intervals", "int_first_days"})
_IS_THEIRS = f"coalesce(list_contains($1, {PERSON}), false)"
_BLANKED = ("role", "job_title", "event_time", "event_hour")
_CASE = "case_number"
_LABEL = "removed "


def erase_from_database(old: Path, new: Path, ids: Sequence[str]) -> int:
    """Write ``old`` again as ``new`` without the person; returns how many rows of accepted input were changed.

    ``ids``: every id or pseudonym the person is kept under.
    """
    with duckdb.connect(config={"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"}) as con:
        con.execute("SET enable_progress_bar = false")
        for path, name, how in ((old, "old", "READ_ONLY"), (new, "new", f"STORAGE_VERSION '{STORAGE_VERSION}'")):
            target = str(path).replace("'", "''")
            con.execute(f"ATTACH '{target}' AS {name} ({how})")
        con.execute("SET enable_external_access = false")
        con.execute("COPY FROM DATABASE old TO new (SCHEMA)")
        tables = con.execute(
            "SELECT table_name, list(column_name ORDER BY column_index) FROM duckdb_columns() "
            "WHERE database_name = 'old' AND table_name IN (SELECT table_name FROM duckdb_tables() "
            "WHERE database_name = 'old') GROUP BY table_name ORDER BY table_name"
        ).fetchall()
        changed = erase_hours(con, ids)
        for table, columns in tables:
            if table in HOURS_TABLES:
                continue
            if PERSON not in columns:
                con.execute(f'INSERT INTO new."{table}" SELECT * FROM old."{table}"')
                continue
            counted = con.execute(f'SELECT count(*) FROM old."{table}" WHERE {_IS_THEIRS}', [list(ids)]).fetchall()
            changed += counted[0][0] if table.startswith("raw_") and table != "raw_ids" else 0
            con.execute(f'INSERT INTO new."{table}" {_without(table, columns)}', [list(ids)])
        con.execute("CHECKPOINT new")
    new.chmod(chunks.MODE)
    return changed


def _without(table: str, columns: list[str]) -> str:
    """All rows of a table of the old database without the person; ``$1`` is the list of ids."""
    if table in _ONLY_THEIRS:
        return f'SELECT * FROM old."{table}" WHERE NOT {_IS_THEIRS}'
    blank = [
        f"CASE WHEN {_IS_THEIRS} THEN NULL ELSE {name} END AS {name}" for name in (PERSON, *_BLANKED) if name in columns
    ]
    if _CASE in columns:
        number = f"'{_LABEL}' || dense_rank() OVER (PARTITION BY {_IS_THEIRS} ORDER BY {_CASE})"
        blank.append(f"CASE WHEN {_IS_THEIRS} THEN {number} ELSE {_CASE} END AS {_CASE}")
    return f'SELECT * REPLACE ({", ".join(blank)}) FROM old."{table}" ORDER BY rowid'


def erase_from_chunks(
    reviews: Iterable[PastReview], old: Path, new: Path, ids: Sequence[str]
) -> tuple[tuple[PastReview, ...], int]:
    """Bring all chunks of the reviews from ``old`` to ``new``, those that hold the person rewritten.

    Returns the reviews with the names of their new chunks, and how many kept rows were changed.
    """
    new.mkdir(mode=chunks.FOLDER_MODE)
    done: dict[tuple[str, str], tuple[Chunk, int]] = {}
    found = []
    for review in reviews:
        listed: list[Chunk] = []
        gone: dict[tuple[str, int], int] = {}
        for chunk in review.chunks:
            key = (chunk.content, chunk.places)
            if key not in done:
                done[key] = _erased(chunk, old, new, ids)
            cleaned, _ = done[key]
            lost = chunk.rows - cleaned.rows
            gone[chunk.file, chunk.file_no] = gone.get((chunk.file, chunk.file_no), 0) + lost
            listed.append(
                replace(
                    chunk,
                    rows=cleaned.rows,
                    content=cleaned.content,
                    content_bytes=cleaned.content_bytes,
                    places=cleaned.places,
                    places_bytes=cleaned.places_bytes,
                )
            )
        found.append(replace(review, chunks=tuple(listed), about=_fewer(review, gone)))
    return tuple(found), sum(rows for _, rows in done.values())


def _fewer(review: PastReview, gone: dict[tuple[str, int], int]) -> dict[str, object]:
    """What was read, less the rows that are gone: a rebuild accounts for every row that it has."""
    about = dict(review.about)
    files = []
    for one in about["intake"]["files"]:
        lost = gone.get((one["file"], one["file_no"]), 0)
        tally = {**one["tally"], "rows_in": one["tally"]["rows_in"] - lost, "used": one["tally"]["used"] - lost}
        files.append({**one, "tally": tally})
    about["intake"] = {**about["intake"], "files": files}
    return about


def _erased(chunk: Chunk, old: Path, new: Path, ids: Sequence[str]) -> tuple[Chunk, int]:
    (content, _), (places, _) = chunk.names
    try:
        rows = pq.read_table(old / content)
        stood = pq.read_table(old / places) if chunk.file in _ONLY_THEIRS else None
    except (OSError, pa.ArrowException) as error:
        raise DamagedSnapshot(content) from error
    theirs = _is_theirs(rows[PERSON], ids) if PERSON in rows.column_names else None
    count = 0 if theirs is None else int(pc.sum(theirs).as_py() or 0)
    if theirs is None or not count:
        for name in {content, places}:
            _carry(old / name, new / name)
        return chunk, 0
    if stood is not None:
        others = pc.invert(theirs)
        rows, stood = rows.filter(others), stood.filter(others)
        where, where_bytes = _written(stood, new, f"{chunk.file}-places", is_places=True)
    else:
        rows = _blanked(rows, theirs)
        _carry(old / places, new / places)
        where, where_bytes = chunk.places, chunk.places_bytes
    what, what_bytes = _written(rows, new, f"{chunk.file}-rows")
    return replace(
        chunk, rows=rows.num_rows, content=what, content_bytes=what_bytes, places=where, places_bytes=where_bytes
    ), count


def _is_theirs(found: pa.ChunkedArray, ids: Sequence[str]) -> pa.ChunkedArray:
    return pc.fill_null(pc.is_in(found, value_set=pa.array(ids, found.type)), False)


def _blanked(rows: pa.Table, theirs: pa.ChunkedArray) -> pa.Table:
    for name in (PERSON, *_BLANKED):
        if name in rows.column_names:
            kind = rows.schema.field(name).type
            place = rows.column_names.index(name)
            rows = rows.set_column(place, name, pc.if_else(theirs, pa.scalar(None, kind), rows[name]))
    if _CASE in rows.column_names:
        own = sorted({value for value in rows[_CASE].filter(theirs).to_pylist() if value is not None})
        label = {value: f"{_LABEL}{number}" for number, value in enumerate(own, start=1)}
        pairs = zip(rows[_CASE].to_pylist(), theirs.to_pylist(), strict=True)
        renamed = pa.array([label.get(value) if hit else value for value, hit in pairs], rows.schema.field(_CASE).type)
        rows = rows.set_column(rows.column_names.index(_CASE), _CASE, renamed)
    return rows


def _written(table: pa.Table, folder: Path, name: str, *, is_places: bool = False) -> tuple[str, int]:
    unnamed = folder / f"{name}.new"
    size = chunks.write_parquet(table.to_batches(), table.schema, unnamed, is_places=is_places)
    final = f"{name}-{hashlib.sha256(unnamed.read_bytes()).hexdigest()[:32]}"
    unnamed.replace(folder / f"{final}.parquet")
    return final, size


def _carry(source: Path, target: Path) -> None:
    if target.exists():
        return
    try:
        os.link(source, target)
    except OSError:  # another disk, or a system without hard links
        shutil.copyfile(source, target)
    target.chmod(chunks.MODE)


def carry_rest(old: Path, new: Path, without: frozenset[str]) -> None:
    """Bring everything else of a review folder over as it is."""
    for path in sorted(old.rglob("*")):
        inside = path.relative_to(old)
        if inside.parts[0] in without:
            continue
        if path.is_dir():
            (new / inside).mkdir()
            continue
        if path.is_symlink() or not path.is_file():
            raise OutputProblem(f"{path}: this is no plain file; take it out of the review folder and run again.")
        try:
            os.link(path, new / inside)
        except OSError:
            shutil.copyfile(path, new / inside)
