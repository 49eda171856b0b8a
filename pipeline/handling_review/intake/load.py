"""All files of a program into the store: examined, read, judged, loaded; what was found on the way is returned."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

import polars as pl
import pyarrow as pa

from handling_review.ahead import ahead
from handling_review.findings import Finding
from handling_review.intake.cells import cell_findings
from handling_review.intake.coding import FileCoder, RowCoder
from handling_review.intake.contracts import Contract, contract
from handling_review.intake.dialect import Dialect, examine
from handling_review.intake.hours_rows import ROW_TABLES, create_hours, row_coder
from handling_review.intake.known_hours import KeptReader, KnownHours, take_over
from handling_review.intake.reading import FileReader
from handling_review.intake.values import Style
from handling_review.problems import DataProblem, ReviewProblem
from handling_review.program import FILE_NAMES, REQUIRED_FILES, Program
from handling_review.progress import expect
from handling_review.pseudonyms import SHAPE_COLUMNS, Pseudonyms
from handling_review.store.database import Store

_LIMITS = frozenset(  # rows at which programs cut an export off: round numbers, and what a sheet holds with its header
    {1_000, 2_000, 5_000, 10_000, 20_000, 25_000, 30_000, 50_000, 65_535, 65_536, 100_000, 200_000, 250_000, 500_000}
    | {1_000_000, 1_048_575, 1_048_576}
)
Progress = Callable[[str, int], None]


@dataclass(frozen=True)
class FileRead:
    """One input file as it was read: its fingerprint, its row accounting, its reader."""

    file: str
    file_no: int
    path: Path
    sha256: str
    size: int
    reader: FileReader

    @property
    def rows(self) -> int:
        """Rows under the header."""
        return self.reader.tally.rows_in


@dataclass
class Intake:
    """What came in: files in order, and findings of the contract.

    ``taken_over``: how many of the first files of hours were not read, since an earlier review had read them.
    """

    files: list[FileRead] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    taken_over: int = 0

    def name_of(self, file: str, file_no: int) -> str:
        """File name of one input, for sentences."""
        for one in self.files:
            if one.file == file and one.file_no == file_no:
                return one.path.name
        return f"{file}.csv"


def load_all(
    program: Program,
    store: Store,
    progress: Progress = lambda _stage, _rows: None,
    keys: Pseudonyms | None = None,
    known: KnownHours | None = None,
) -> Intake:
    """Read every file of the program into ``raw_<file>`` tables of the store, ids as pseudonyms if there are ``keys``.

    Files of hours that are ``known`` are not read: the source of the store has their rows.

    Raises ``DataProblem`` that lists, one a line, every file that cannot be read at all.
    """
    examined: list[tuple[str, int, Dialect, Contract]] = []
    troubles: list[str] = []
    for name in FILE_NAMES:
        for number, path in enumerate(program.files.get(name, ()), start=1):
            one = contract(name)
            progress(f"looking at {path.name}", 0)
            try:
                examined.append((name, number, examine(path, one, program.columns.get(name, {})), one))
            except DataProblem as problem:
                troubles.append(str(problem))
    if troubles:
        raise DataProblem("\n".join(troubles))
    expect(progress, sum(dialect.lines for _, _, dialect, _ in examined))
    intake = Intake()
    for name in FILE_NAMES:
        if name != "hours":
            store.load(name, _columns(contract(name)), None)
    create_hours(store)
    with row_coder(store) as coder:
        taken = intake.taken_over = 0 if known is None else _taken_over(store, coder, known, examined, progress)
        for name, number, dialect, one in examined:
            if known is not None and name == "hours" and number <= taken:
                kept = cast(FileReader, KeptReader(one, known.files[number - 1].tally))
                intake.files.append(FileRead(name, number, dialect.path, dialect.sha256, dialect.size, kept))
                intake.findings += [found for found in known.findings if found.file == dialect.path.name]
                continue
            _load_one(program, store, intake, name, number, dialect, one, progress, keys, coder)
    store.load("ids", SHAPE_COLUMNS, None if keys is None else _stream(keys.shapes()))
    _refuse_empty(intake)
    return intake


def _taken_over(
    store: Store,
    coder: RowCoder,
    known: KnownHours,
    examined: Sequence[tuple[str, int, Dialect, Contract]],
    progress: Progress,
) -> int:
    """How many of the first files of hours are as they were in an earlier review; their rows are in the store then."""
    names = [dialect.path.name for _, _, dialect, _ in examined]
    if len(set(names)) < len(names):  # findings are told apart by the name of their file
        return 0
    hours = [(dialect.path.name, dialect.sha256) for name, _, dialect, _ in examined if name == "hours"]
    count = known.same(hours)
    if count:
        progress("taking over hours that were read before", 0)
    return count if count and take_over(store, coder, known, count) else 0


def style_of(program: Program, name: str, dialect: Dialect) -> Style:
    """How a file writes its values, by the program file."""
    return Style(
        date_order=program.dates.get(name, "iso"),
        decimal_comma=program.decimal_comma.get(name),
        hours_as=program.hours.written_as if name == "hours" else "decimal",
        zero_pad=program.ids.zero_pad,
        delimiter=dialect.delimiter,
        codes=program.codes.get(name, {}),
    )


def _columns(one: Contract) -> list[tuple[str, str]]:
    own = [(f.name, f.duckdb_type) for f in one.fields]
    return [*own, ("record", "BIGINT"), ("line", "BIGINT"), ("file_no", "INTEGER")]


def _load_one(
    program: Program,
    store: Store,
    intake: Intake,
    name: str,
    number: int,
    dialect: Dialect,
    one: Contract,
    progress: Progress,
    keys: Pseudonyms | None,
    coder: RowCoder,
) -> None:
    style = style_of(program, name, dialect)
    is_again = any(earlier.file == name and earlier.sha256 == dialect.sha256 for earlier in intake.files)
    is_coded = name == "hours" and not is_again
    reader = FileReader(dialect, one, style, keys, FileCoder(coder, number) if is_coded else None)
    schema = reader.schema if is_coded else reader.schema.append(pa.field("file_no", pa.int32()))

    problems: list[Exception] = []  # the database wraps what a stream raises in an error of its own

    def numbered() -> Iterator[pa.RecordBatch]:
        try:
            for batch in reader.batches():
                progress(f"reading {dialect.path.name}", reader.tally.rows_in)
                file_no = [] if is_coded else [pa.array([number] * batch.num_rows, pa.int32())]
                yield pa.RecordBatch.from_arrays([*batch.columns, *file_no], schema=schema)
        except (ReviewProblem, OSError) as problem:
            problems.append(problem)
            raise

    if is_again:
        _leave_out(reader)
    else:
        table, declared = ("hours_rows", ROW_TABLES["hours_rows"]) if is_coded else (name, _columns(one))
        try:
            with ahead(numbered()) as batches:  # judged while the database takes the block before
                store.load(table, declared, pa.RecordBatchReader.from_batches(schema, batches))
        except Exception:
            if problems:
                raise problems[0] from None
            raise
    read = FileRead(name, number, dialect.path, dialect.sha256, dialect.size, reader)
    intake.files.append(read)
    intake.findings += [*_file_findings(read, dialect), *cell_findings(dialect.path.name, reader, style)]


def _stream(frame: pl.DataFrame) -> pa.RecordBatchReader:
    table: pa.Table = frame.to_arrow(compat_level=pl.CompatLevel.oldest())
    return table.to_reader()


def _leave_out(reader: FileReader) -> None:
    """Count a file that was given before under its own rule; none of its rows is used."""
    for _ in reader.batches():
        pass
    tally = reader.tally
    tally.excluded["same file given twice"] += tally.used
    tally.used = 0


def _file_findings(read: FileRead, dialect: Dialect) -> Iterator[Finding]:
    if dialect.odd_bytes:
        many = "byte is" if dialect.odd_bytes == 1 else "bytes are"
        yield Finding(
            severity="note",
            rule="bytes outside UTF-8",
            file=read.path.name,
            line=dialect.odd_line,
            message=f"{dialect.odd_bytes:,} {many} not UTF-8 and read as Windows-1252 text.",
            what_to_do="If a word looks wrong, export the file as UTF-8.",
            rows=dialect.odd_bytes,
        )
    if dialect.extra:
        listed = ", ".join(repr(cell) for cell in dialect.extra)
        yield Finding(
            severity="note",
            rule="columns not read",
            file=read.path.name,
            line=dialect.header_line,
            message=f"columns not read: {listed}.",
            what_to_do="Nothing, if the review does not need them; else map them in [columns].",
            rows=len(dialect.extra),
        )
    if read.rows in _LIMITS:
        yield Finding(
            severity="look",
            rule="may be cut off",
            file=read.path.name,
            message=f"the file has {read.rows:,} rows, a number at which programs cut exports off.",
            what_to_do="Compare its last day with the system; if rows are missing, export it in parts.",
            rows=read.rows,
        )
    absent = [f.name for f in read.reader.contract.fields if f.name not in dialect.columns]
    used = read.reader.tally.used
    if read.file == "incidents" and used and {"activity", "handling_related"} <= set(absent):
        yield Finding(
            severity="look",
            rule="handling not recorded",
            file=read.path.name,
            line=dialect.header_line,
            message="neither activity nor handling_related is in the log, so few cases can be called handling-related.",
            what_to_do="Add or map one of them; event_type with source_person helps too.",
            rows=used,
            cases=used,
        )


def _refuse_empty(intake: Intake) -> None:
    """A file with a header and no usable row is not zero injuries or zero hours."""
    for name in REQUIRED_FILES:
        read = [one for one in intake.files if one.file == name]
        rows = sum(one.rows - one.reader.tally.excluded["blank line"] for one in read)
        used = sum(one.reader.tally.used for one in read)
        shown = read[0].path.name
        if rows == 0:
            raise DataProblem(
                f"{shown}, line {read[0].reader.dialect.header_line}: a header and no rows. No rows is not the same as "
                f"no {_what(name)}; export the whole period again."
            )
        if used == 0:
            worst = max((f for f in intake.findings if f.file == shown and f.severity != "note"), key=lambda f: f.rows)
            raise DataProblem(f"None of the {rows:,} rows can be used. {worst.sentence()}")


def _what(name: str) -> str:
    return {"incidents": "injuries", "hours": "hours", "training": "training"}[name]
