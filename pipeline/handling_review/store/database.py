"""The DuckDB file: opened with no way out, filled from SQL files, closed whole.

SQL stands in files, one table a file; values are bound, never pasted. The file is written in an older storage version
that holds no random identifier, so that equal inputs give equal bytes.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

import duckdb

from handling_review import files
from handling_review.problems import OutputProblem

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

STORAGE_VERSION = "v1.2.0"
_NO_LOG = "RECOVERY_MODE 'no_wal_writes'"  # the file is nobody's before it is whole: no table waits for the disk
MEMORY_LIMIT = "1GB"
THREADS = 2
WORK = "work.duckdb"  # tables that a build reads again and again and that are nobody's output: gone when it closes
STREAM_ROWS = 1 << 17
VECTOR_ROWS = 1 << 11  # rows that DuckDB works on at a time
# A full disk: while writing, where data were to be spilled, or when a change is made final.
_NO_ROOM = (duckdb.IOException, duckdb.OutOfMemoryException, duckdb.TransactionException)


class Store:
    """One review database, open for writing until it is closed.

    Use as a context manager. ``path`` is made new, or a database that is there is opened again; ``temporary`` is a
    folder for spilled data and for the tables of ``work``, which last as long as the store is open; ``threads``:
    `THREADS` unless given; ``source`` is another database to read from, which stays as it is.
    """

    def __init__(
        self,
        path: Path,
        temporary: Path,
        threads: int | None = None,
        memory_limit: str = MEMORY_LIMIT,
        source: Path | None = None,
    ) -> None:
        self.path, self.temporary = path, temporary
        self._threads = self._in_use = threads or THREADS
        temporary.mkdir(mode=0o700, exist_ok=True)
        self._beside = temporary / WORK
        self._beside.unlink(missing_ok=True)
        self._umask = os.umask(0o077)  # the file and what is spilled are private from their first byte
        try:
            self._con = duckdb.connect(
                config={
                    "threads": self._threads,
                    "memory_limit": memory_limit,
                    "temp_directory": str(temporary),
                    "autoinstall_known_extensions": "false",
                    "autoload_known_extensions": "false",
                }
            )
            self._con.execute(f"ATTACH {_text(path)} AS review (STORAGE_VERSION '{STORAGE_VERSION}', {_NO_LOG})")
            self._con.execute(f"ATTACH {_text(self._beside)} AS work ({_NO_LOG})")
            if source is not None:
                self._con.execute(f"ATTACH {_text(source)} AS source (READ_ONLY)")
        except duckdb.Error as error:
            os.umask(self._umask)
            raise OutputProblem(
                f"{path.parent}: the database cannot be written there ({_first_line(error)})."
            ) from None
        self._con.execute("USE review")
        self._con.execute("SET enable_progress_bar = false")  # it would write among our own lines
        self._con.execute("SET disabled_compression_methods = 'fsst'")  # it samples at random: bytes would differ
        self._con.execute("SET enable_external_access = false")
        self._con.execute("SET allowed_configs = ['threads']")  # see _use
        self._con.execute("SET lock_configuration = true")

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
        if isinstance(error, _NO_ROOM):
            raise OutputProblem(f"{self.path.parent}: the database cannot be written ({_first_line(error)}).") from None

    def _use(self, threads: int) -> None:
        """So many threads from now on: one to write the file, since two give its blocks to rows as they come by."""
        if threads != self._in_use:
            self._con.execute(f"SET threads = {threads}")
            self._in_use = threads

    def close(self) -> None:
        """Write everything to the file and let go of it."""
        with contextlib.suppress(duckdb.Error):  # what went wrong before is told, not what follows from it
            self._use(1)
        self._con.close()
        self._beside.unlink(missing_ok=True)
        os.umask(self._umask)

    def interrupt(self) -> None:
        """End whatever statement runs now in another thread, with an error there."""
        self._con.interrupt()

    def checkpoint(self) -> None:
        """Write what was changed into the file: until then it is not there, since no log is kept."""
        self._use(1)
        self._con.execute("CHECKPOINT review")

    def load(self, table: str, columns: Sequence[tuple[str, str]], stream: pa.RecordBatchReader | None) -> None:
        """Create ``raw_<table>`` with the given columns and types and fill it from a stream in one statement."""
        declared = ", ".join(f"{_name(name)} {kind}" for name, kind in columns)
        self._con.execute(f"CREATE TABLE IF NOT EXISTS {_name('raw_' + table)} ({declared})")
        if stream is not None:
            self._con.register("incoming", _in_whole_vectors(stream))
            self._use(1)
            self._con.execute(f"INSERT INTO {_name('raw_' + table)} SELECT * FROM incoming")
            self._con.unregister("incoming")

    def see(self, table: str) -> None:
        """A table of the source under its own name, as a view."""
        self._con.execute(f"CREATE VIEW {_name(table)} AS SELECT * FROM source.main.{_name(table)}")

    def fill(self, table: str, columns: Sequence[tuple[str, str]], rows: Iterable[Sequence[Any]]) -> None:
        """Create a small lookup table from Python rows."""
        declared = ", ".join(f"{_name(name)} {kind}" for name, kind in columns)
        self._con.execute(f"CREATE TABLE {_name(table)} ({declared})")
        marks = ", ".join("?" for _ in columns)
        listed = [list(row) for row in rows]
        if listed:
            self._con.executemany(f"INSERT INTO {_name(table)} VALUES ({marks})", listed)

    def create(self, table: str, columns: Sequence[tuple[str, str]]) -> None:
        """Create an empty table that lasts as long as the store is open; it never gets into the file."""
        declared = ", ".join(f"{_name(name)} {kind}" for name, kind in columns)
        self._con.execute(f"CREATE OR REPLACE TEMP TABLE {_name(table)} ({declared})")

    def append(self, table: str, stream: pa.RecordBatchReader, schema: str = "") -> None:
        """Add the rows of a stream to a table; ``schema``: ``work`` for one that stands beside the database."""
        self._use(1)
        self._con.register("incoming", stream)
        place = f"{_name(schema)}." if schema else ""
        self._con.execute(f"INSERT INTO {place}{_name(table)} SELECT * FROM incoming")
        self._con.unregister("incoming")

    def execute(self, sql: str, values: Sequence[Any] = ()) -> None:
        """Run one statement of this package, on one thread since it may write the file; values are bound."""
        self._use(1)
        self._con.execute(sql, list(values))

    def fetch(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """All rows of one query of this package; values are bound."""
        self._use(self._threads)
        found: list[tuple[Any, ...]] = self._con.execute(sql, list(values)).fetchall()
        return found

    def stream(self, sql: str, values: Sequence[Any] = ()) -> pa.RecordBatchReader:
        """Rows of one query of this package as a stream of Arrow batches, to be read to its end before the next."""
        self._use(self._threads)
        return self._con.sql(sql, params=list(values)).to_arrow_reader(STREAM_ROWS)

    def table(self, sql: str, values: Sequence[Any] = ()) -> pa.Table:
        """Rows of one query of this package as an Arrow table."""
        return self.stream(sql, values).read_all()

    def run(self, name: str, values: Mapping[str, Any] | None = None) -> None:
        """Run one shipped SQL file; ``values`` are bound by name."""
        self._use(self._threads if name.startswith("work_") else 1)
        self._con.execute(files.read_text("sql", f"{name}.sql"), values)

    def rows(self, name: str) -> list[dict[str, Any]]:
        """Rows of one shipped query as dictionaries."""
        self._use(self._threads)
        self._con.execute(files.read_text("sql", f"{name}.sql"))
        titles = [column[0] for column in self._con.description or []]
        return [dict(zip(titles, row, strict=True)) for row in self._con.fetchall()]

    def frame(self, table: str) -> pd.DataFrame:
        """A result table as a pandas frame, in its stored order."""
        found: pd.DataFrame = self._con.sql(f"SELECT * FROM {_name(table)}").df()
        return found

    def scalar(self, sql: str) -> Any:
        """First value of a fixed query of this package."""
        found = self._con.execute(sql).fetchall()  # read to the end: an open result blocks the connection
        return found[0][0] if found else None


def _in_whole_vectors(stream: pa.RecordBatchReader) -> pa.RecordBatchReader:
    """The same rows cut at multiples of `VECTOR_ROWS`, wherever they were cut before.

    DuckDB keeps a sample of each column, taken vector by vector; cut otherwise the same rows give other bytes.
    """
    import pyarrow as pa

    def cut() -> Iterator[pa.RecordBatch]:
        rest = pa.RecordBatch.from_pylist([], schema=stream.schema)
        for batch in stream:
            if rest.num_rows:
                missing = VECTOR_ROWS - rest.num_rows
                rest = pa.concat_batches([rest, batch.slice(0, missing)])
                if rest.num_rows < VECTOR_ROWS:
                    continue
                yield rest
                batch = batch.slice(missing)
            whole = batch.num_rows - batch.num_rows % VECTOR_ROWS
            if whole:
                yield batch.slice(0, whole)
            rest = batch.slice(whole)
        if rest.num_rows:
            yield rest

    return pa.RecordBatchReader.from_batches(stream.schema, cut())


def stored_check_value(path: Path) -> str | None:
    """The check value of the secret behind a finished database; None where it holds ids, or is not there."""
    if not path.is_file() or path.is_symlink():
        return None
    try:
        with duckdb.connect(str(path), read_only=True, config={"enable_external_access": "false"}) as found:
            rows = found.execute("SELECT check_value FROM pseudonyms").fetchall()
    except duckdb.Error:
        return None
    return str(rows[0][0]) if rows else None


def _name(name: str) -> str:
    """A table or column name of this package, quoted."""
    return '"' + name.replace('"', '""') + '"'


def _text(path: Path) -> str:
    """A path as SQL text."""
    return "'" + str(path).replace("'", "''") + "'"


def _first_line(error: Exception) -> str:
    return str(error).splitlines()[0] if str(error) else type(error).__name__
