"""Rows of one file as typed blocks: streamed, judged by distinct value, bad rows set aside with their lines."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import closing
from decimal import Decimal
from pathlib import Path
from typing import Any, BinaryIO

import polars as pl
import pyarrow as pa
import pyarrow.csv as pa_csv

from handling_review.ahead import ahead
from handling_review.intake import parquet
from handling_review.intake.coding import ROW_SCHEMA, FileCoder
from handling_review.intake.column import ColumnJudge, Judged
from handling_review.intake.contracts import Contract
from handling_review.intake.dialect import PARQUET, Dialect, open_text
from handling_review.intake.lines import LineCounter, RaggedRow
from handling_review.intake.opening import Paced, open_again
from handling_review.intake.rowkinds import FOOTER, REPEATED_HEADER, TEST, TOTALS, holds_rows, kinds, ragged_kind
from handling_review.intake.tally import BadCell, Tally
from handling_review.intake.values import Style, number_text, tidy, without_giants
from handling_review.problems import DataProblem
from handling_review.pseudonyms import Pseudonyms

BLOCK_BYTES = 32 << 20  # people recur in every block, and each text of a block is looked up once
SLIPPED = 3  # so many failing cells in one row: values of other columns stand in them
MOST_RAGGED = 200_000  # rows of another width: each is kept as text until its line is known
LINE_ENDS = r"\r\n|\r|\n"
ARROW_TYPES = {
    "string": pa.string(),
    "date": pa.date32(),
    "integer": pa.int64(),
    "number": pa.decimal128(18, 4),
    "boolean": pa.bool_(),
}


class FileReader:
    """Streams one file as Arrow batches of typed columns plus ``record`` and ``line``.

    With ``keys`` ids leave as pseudonyms; each distinct id is keyed once, not each row. With a ``coder`` rows leave as
    numbers, in the columns of ``ROW_SCHEMA``.
    """

    def __init__(
        self,
        dialect: Dialect,
        contract: Contract,
        style: Style,
        keys: Pseudonyms | None = None,
        coder: FileCoder | None = None,
    ) -> None:
        self.dialect = dialect
        self._coder = coder
        self.contract = contract
        self._style = style
        self.tally = Tally()
        self._counter = LineCounter(dialect.first_line)
        self._ragged = 0
        self._odd: frozenset[int] = frozenset()  # rows of the block that seem to have slipped by a cell
        self._judges = {
            name: ColumnJudge(contract.field(name), style, dialect.header[dialect.columns[name]], keys)
            for name in contract.names
            if name in dialect.columns
        }
        self._dated = tuple(f.name for f in contract.fields if f.type == "date" and contract.is_vital(f.name))

    @property
    def schema(self) -> pa.Schema:
        """Arrow schema of the batches: every column of the contract, absent ones null; or that of coded rows."""
        if self._coder is not None:
            return ROW_SCHEMA
        fields = [pa.field(f.name, ARROW_TYPES[f.type]) for f in self.contract.fields]
        return pa.schema([*fields, pa.field("record", pa.int64()), pa.field("line", pa.int64())])

    def batches(self) -> Iterator[pa.RecordBatch]:
        """Good rows, block by block; the tally is complete when the last batch has been taken."""
        with tempfile.TemporaryDirectory(prefix="handling-review-") as folder:
            try:
                with ahead(self._blocks(Path(folder))) as blocks:
                    for block in blocks:
                        if block.num_rows:
                            yield self._arrow(self._block(block))
            except pa.ArrowInvalid as error:
                raise DataProblem(self._broken(error)) from None
            self._set_ragged_aside(self._counter.rest())
            for column, note in [*self.tally.notes]:
                if note == "point or comma" and self._judges[column].point_is_decimal:
                    del self.tally.notes[column, note]

    def _blocks(self, folder: Path) -> Iterator[pa.RecordBatch]:
        if self.dialect.encoding == PARQUET:
            wanted = sorted(self.dialect.columns.values())
            yield from parquet.blocks(self.dialect.path, self.dialect.seen, self.dialect.header, wanted)
            return
        with closing(Paced(self._utf8_source(folder))) as source:
            for block in self._open(source):
                yield block
                source.took()

    def _utf8_source(self, folder: Path) -> BinaryIO:
        """The file itself, or a private UTF-8 copy if it is written otherwise."""
        if self.dialect.encoding in ("utf-8", "utf-8-sig"):
            return open_again(self.dialect.path, self.dialect.seen)
        copy = folder / "utf8.csv"
        try:
            with open_text(self.dialect) as text, copy.open("w", encoding="utf-8", newline="") as out:
                while part := text.read(1 << 20):
                    out.write(part)
        except UnicodeError:
            raise DataProblem(
                f"{self.dialect.path.name}: starts like UTF-16 text but is not. Export it as CSV in UTF-8."
            ) from None
        return copy.open("rb")

    def _open(self, source: Paced) -> Any:
        names = [f"c{i}" for i in range(len(self.dialect.header))]
        wanted = names if self.dialect.has_quotes else [f"c{i}" for i in sorted(self.dialect.columns.values())]
        return pa_csv.open_csv(
            source,
            read_options=pa_csv.ReadOptions(
                block_size=BLOCK_BYTES,
                use_threads=False,  # keeps record numbers in the handler of ragged rows
                skip_rows=self.dialect.first_line - 1,
                column_names=names,
            ),
            parse_options=pa_csv.ParseOptions(
                delimiter=self.dialect.delimiter,
                newlines_in_values=self.dialect.has_quotes,
                ignore_empty_lines=False,
                invalid_row_handler=self._on_ragged_row,
            ),
            convert_options=pa_csv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.dictionary(pa.int32(), pa.string())),
                strings_can_be_null=False,
                include_columns=wanted,
            ),
        )

    def _on_ragged_row(self, row: Any) -> str:
        self._ragged += 1
        if self._ragged > MOST_RAGGED:
            return "error"  # told in _broken
        self._counter.ragged(row.number, row.expected_columns, row.actual_columns, row.text)
        return "skip"

    def _block(self, block: pa.RecordBatch) -> pl.DataFrame:
        """The good rows of one block; the others are counted and set aside."""
        numbers = self._counter.block(self._line_ends(block))
        self._refuse_swallowed(block, numbers.lines)
        self._set_ragged_aside(numbers.ragged)
        judged = {name: self._judged(judge, block) for name, judge in self._judges.items()}
        coder = self._coder
        values = coder.columns(judged) if coder else {name: column.values() for name, column in judged.items()}
        frame = pl.DataFrame({**values, "record": numbers.records, "line": numbers.lines})
        good = self._account(frame, judged)
        return coder.coded(good, judged) if coder else good

    def _line_ends(self, block: pa.RecordBatch) -> pl.Series:
        """Line ends inside the cells of each row. A file without quotation marks has none."""
        ends = pl.zeros(block.num_rows, dtype=pl.Int64, eager=True)
        if not self.dialect.has_quotes:
            return ends
        for column in block.columns:
            counts = pl.Series(column.dictionary).cast(pl.String).str.count_matches(LINE_ENDS).cast(pl.Int64)
            if counts.sum():
                ends = ends + counts.gather(pl.Series(column.indices).cast(pl.UInt32))
        return ends

    def _refuse_swallowed(self, block: pa.RecordBatch, lines: pl.Series) -> None:
        """Refuse a cell that holds whole rows: a quotation mark was left open, and rows would be lost in silence."""
        if not self.dialect.has_quotes:
            return
        dated = tuple(self.dialect.columns[name] for name in self._dated if name in self.dialect.columns)
        for position, column in enumerate(block.columns):
            texts = pl.Series("text", column.dictionary).cast(pl.String)
            for text in texts.filter(texts.str.contains(LINE_ENDS)).to_list():
                if holds_rows(text, self.dialect.delimiter, len(self.dialect.header), position, dated):
                    row = (pl.Series(column.indices) == texts.index_of(text)).arg_true()[0]
                    raise DataProblem(
                        f"{self.dialect.path.name}, line {lines[row]}: a quotation mark opens here and does not close "
                        "in its row, so the rows below read as one cell. Mend that line or export the file again."
                    )

    def _judged(self, judge: ColumnJudge, block: pa.RecordBatch) -> Judged:
        coded = block.column(f"c{self.dialect.columns[judge.column.name]}")
        texts = without_giants(pl.Series("text", coded.dictionary).cast(pl.String))
        return Judged(texts, pl.Series(coded.indices).cast(pl.UInt32), judge.judge(texts))

    def _account(self, frame: pl.DataFrame, judged: dict[str, Judged]) -> pl.DataFrame:
        """Count the rows of a block under used, set aside and excluded; return the used ones."""
        tally = self.tally
        gone = self._excluded(frame, judged)
        failures = pl.zeros(len(frame), dtype=pl.Int32, eager=True)
        for column in judged.values():
            if column.verdict.get_column("rule").null_count() < len(column.verdict):
                failures = failures + column.rules().is_not_null().cast(pl.Int32)
        odd = (failures >= SLIPPED) & ~gone
        few = int(odd.sum()) * 2 < len(frame)  # where most rows fail it is the export's way of writing
        self._odd = frozenset(odd.arg_true().to_list()) if few else frozenset()
        bad = pl.repeat(False, len(frame), eager=True, dtype=pl.Boolean)
        for name, column in judged.items():
            if column.verdict.get_column("rule").null_count() == len(column.verdict):
                continue
            rules = column.rules()
            failing = rules.is_not_null() & ~gone
            for rule in sorted(rules.filter(failing).unique().to_list()):
                broken = failing & (rules == rule).fill_null(False)
                self._keep_cells(frame, name, rule, broken, column)
                if not self.contract.is_vital(name):
                    continue
                fresh = broken & ~bad
                tally.set_aside[f"{name}: {rule}"] += int(fresh.sum())
                if "hours" in frame.columns:
                    moved = float(frame.get_column("hours").filter(fresh).sum() or 0)
                    tally.hours_set_aside[name, rule] = tally.hours_set_aside.get((name, rule), 0.0) + moved
            if self.contract.is_vital(name):
                bad = bad | failing
        good = frame.filter(~(bad | gone))
        self._keep_notes(frame, judged, gone | bad)
        tally.rows_in += len(frame)
        tally.used += len(good)
        return good

    def _excluded(self, frame: pl.DataFrame, judged: dict[str, Judged]) -> pl.Series:
        """Rows that are no data: blank lines, repeated headers, totals, footers, test rows. Counted by kind."""
        blank = pl.repeat(True, len(frame), eager=True, dtype=pl.Boolean)
        for column in judged.values():
            if not blank.any():
                break
            blank = blank & column.blank()
        self.tally.excluded["blank line"] += int(blank.sum())
        places = {name: column.where for name, column in judged.items()}
        kind = kinds({name: column.verdict for name, column in judged.items()}, places, self._dated)
        if "hours" in judged:
            self._sum_hours(frame.get_column("hours"), frame.get_column("line"), kind, judged["hours"])
        if kind.null_count() == len(kind):
            return blank
        for label in (REPEATED_HEADER, TOTALS, FOOTER, TEST):
            rows = (kind == label).fill_null(False) & ~blank
            self.tally.excluded[label] += int(rows.sum())
        return blank | kind.is_not_null()

    def _sum_hours(self, hours: pl.Series, lines: pl.Series, kind: pl.Series, column: Judged) -> None:
        """Keep running sums of the hours column, so that a totals row can be held against the rows it sums."""
        start, sums = 0, self.tally.sums
        for place in (kind == TOTALS).fill_null(False).arg_true().to_list():
            sums.add(_sum(hours[start:place].filter(kind[start:place].is_null())))
            sums.total(lines[place], number_text(tidy(column.text(place)), self._style, whole=False))
            start = place + 1
        plain = kind.null_count() == len(kind)
        sums.add(_sum(hours if plain else hours[start:].filter(kind[start:].is_null())))

    def _keep_notes(self, frame: pl.DataFrame, judged: dict[str, Judged], gone: pl.Series) -> None:
        """Count values that were read with a proviso, such as a year of two digits."""
        for name, column in judged.items():
            found = column.notes()
            if found is None:
                continue
            found = found.filter(~gone)
            for note in sorted(found.drop_nulls().unique().to_list()):
                rows = int((found == note).sum())
                first = frame.get_column("line").filter(~gone).filter((found == note).fill_null(False))[0]
                count, line = self.tally.notes.get((name, note), (0, int(first)))
                self.tally.notes[name, note] = (count + rows, line)

    def _keep_cells(self, frame: pl.DataFrame, name: str, rule: str, broken: pl.Series, column: Judged) -> None:
        self.tally.cells[name, rule] += int(broken.sum())
        for place in broken.arg_true().head(self.tally.room(name, rule)).to_list():
            text = column.text(place)
            hidden = place in self._odd or self._is_id(text)
            self.tally.keep(BadCell(frame["line"][place], frame["record"][place], name, rule, text, hidden))

    def _is_id(self, text: str) -> bool:
        """Whether a cell of another column holds an employee id of this file."""
        return any(judge.knows(text) for judge in self._judges.values() if judge.column.personal)

    def _set_ragged_aside(self, rows: Iterable[RaggedRow]) -> None:
        for row in rows:
            if re.search(LINE_ENDS, row.text.rstrip("\r\n")) and row.text.count('"') % 2:
                raise DataProblem(
                    f"{self.dialect.path.name}, line {row.line}: a quotation mark opens here and never closes, so the "
                    "rest of the file reads as one cell. Mend that line or export the file again."
                )
            self.tally.rows_in += 1
            kind = ragged_kind(row.text, self.dialect.delimiter, self.dialect.header)
            if kind is not None:
                self.tally.excluded[kind] += 1
                continue
            self.tally.set_aside["row: cells"] += 1
            self.tally.cells["row", "cells"] += 1
            self.tally.keep(
                BadCell(row.line, row.record, "row", "cells", f"{row.actual} cells under {row.expected} headers")
            )

    def _arrow(self, good: pl.DataFrame) -> pa.RecordBatch:
        table = good.to_arrow()
        arrays = [
            _one_array(table.column(one.name).cast(one.type))
            if one.name in table.column_names
            else pa.nulls(table.num_rows, one.type)
            for one in self.schema
        ]
        return pa.RecordBatch.from_arrays(arrays, schema=self.schema)

    def _broken(self, error: Exception) -> str:
        where = f"{self.dialect.path.name}: after line {self._counter.line}"
        if self._ragged > MOST_RAGGED:
            return (
                f"{where} more than {MOST_RAGGED:,} rows have another number of cells than the header: this is no "
                "table of these columns. Export the file again as CSV."
            )
        if "straddling" in str(error):
            most = f"{BLOCK_BYTES >> 20} MB"
            return f"{where} a row is longer than {most}; a quotation mark may be left open. Mend it or export again."
        return f"{where} the text cannot be split into rows. Export the file again as CSV."


def _one_array(column: pa.ChunkedArray) -> pa.Array:
    """The column as one array, which may hold no value."""
    return pa.concat_arrays(column.chunks) if column.num_chunks else pa.array([], column.type)


def _sum(hours: pl.Series) -> Decimal:
    return Decimal(hours.sum() or 0)
