"""Rows of one file as typed blocks: streamed, judged by distinct value, bad rows set aside with their lines."""

from __future__ import annotations

import re
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import polars as pl
import pyarrow as pa
import pyarrow.csv as pa_csv

from handling_review.intake.contracts import Contract, Field
from handling_review.intake.dialect import Dialect, open_text
from handling_review.intake.judge import failing_rules
from handling_review.intake.lines import LineCounter, RaggedRow
from handling_review.intake.values import Style, canonical, typed
from handling_review.problems import DataProblem

BLOCK_BYTES = 16 << 20
KEPT_PER_RULE = 1000  # lines kept for each column and rule; counts stay exact beyond it
LINE_ENDS = r"\r\n|\r|\n"
ARROW_TYPES = {
    "string": pa.string(),
    "date": pa.date32(),
    "integer": pa.int64(),
    "number": pa.decimal128(18, 4),
    "boolean": pa.bool_(),
}


@dataclass(frozen=True)
class BadCell:
    """One value that failed a rule: physical line, record, column, rule, and the cell's own text."""

    line: int
    record: int
    column: str
    rule: str
    text: str


@dataclass
class Tally:
    """Row accounting of one file while it is read: each row is used, set aside or excluded, once.

    A bad value in a column that is not vital is dropped, and its row stays.

    ``set_aside`` and ``excluded`` count rows by rule; ``cells`` counts failing cells by column and rule, of which
    ``kept`` holds the first.
    """

    rows_in: int = 0
    used: int = 0
    set_aside: Counter[str] = field(default_factory=Counter)
    excluded: Counter[str] = field(default_factory=Counter)
    cells: Counter[tuple[str, str]] = field(default_factory=Counter)
    hours_set_aside: dict[tuple[str, str], float] = field(default_factory=dict)
    kept: dict[tuple[str, str], list[BadCell]] = field(default_factory=dict)

    def keep(self, bad: BadCell) -> None:
        """Remember one bad cell, up to the limit for its column and rule."""
        kept = self.kept.setdefault((bad.column, bad.rule), [])
        if len(kept) < KEPT_PER_RULE:
            kept.append(bad)

    def room(self, column: str, rule: str) -> int:
        """How many more cells of this column and rule are kept."""
        return KEPT_PER_RULE - len(self.kept.get((column, rule), []))


class ColumnJudge:
    """Judges each distinct text of one column once and remembers the answer for the blocks that follow."""

    def __init__(self, column: Field, style: Style) -> None:
        self.column = column
        self.style = style
        self._known = self._judge(pl.Series("text", [""], dtype=pl.String))

    def _judge(self, texts: pl.Series) -> pl.DataFrame:
        plain = canonical(self.column, texts, self.style)
        rule = failing_rules(self.column, plain)
        accepted = pl.DataFrame({"value": plain, "rule": rule}).select(
            pl.when(pl.col("rule").is_null()).then("value").otherwise(None).alias("value")
        )
        value = typed(self.column, accepted.to_series())
        return pl.DataFrame({"text": texts, "value": value, "rule": rule})

    def judge(self, texts: pl.Series) -> pl.DataFrame:
        """Typed value and failing rule (null if none) of each of the distinct ``texts``, in their order."""
        frame = pl.DataFrame({"text": texts})
        new = frame.join(self._known, on="text", how="anti").get_column("text").unique(maintain_order=True)
        if len(new):
            self._known = pl.concat([self._known, self._judge(new)])
        return frame.join(self._known, on="text", how="left", maintain_order="left")


@dataclass(frozen=True)
class _Judged:
    """One column of a block: the cells' dictionary, each row's place in it, and the verdict on each entry."""

    texts: pl.Series
    where: pl.Series
    verdict: pl.DataFrame

    def values(self) -> pl.Series:
        return self.verdict.get_column("value").gather(self.where)

    def rules(self) -> pl.Series:
        return self.verdict.get_column("rule").gather(self.where)

    def blank(self) -> pl.Series:
        return (self.texts.str.strip_chars() == "").gather(self.where)

    def text(self, place: int) -> str:
        return str(self.texts[self.where[place]])


class FileReader:
    """Streams one file as Arrow batches of typed columns plus ``record`` and ``line``."""

    def __init__(self, dialect: Dialect, contract: Contract, style: Style) -> None:
        self.dialect = dialect
        self.contract = contract
        self.tally = Tally()
        self._counter = LineCounter(dialect.first_line)
        self._judges = {
            name: ColumnJudge(contract.field(name), style) for name in contract.names if name in dialect.columns
        }

    @property
    def schema(self) -> pa.Schema:
        """Arrow schema of the batches: every column of the contract, absent ones null."""
        fields = [pa.field(f.name, ARROW_TYPES[f.type]) for f in self.contract.fields]
        return pa.schema([*fields, pa.field("record", pa.int64()), pa.field("line", pa.int64())])

    def batches(self) -> Iterator[pa.RecordBatch]:
        """Good rows, block by block; the tally is complete when the last batch has been taken."""
        with tempfile.TemporaryDirectory(prefix="handling-review-") as folder:
            source = self._utf8_source(Path(folder))
            try:
                for block in self._open(source):
                    if block.num_rows:
                        yield self._arrow(self._block(block))
            except pa.ArrowInvalid as error:
                raise DataProblem(self._broken(error)) from None
            self._set_ragged_aside(self._counter.rest())

    def _utf8_source(self, folder: Path) -> Path:
        """The file itself, or a private UTF-8 copy if it is written otherwise."""
        if self.dialect.encoding in ("utf-8", "utf-8-sig"):
            return self.dialect.path
        copy = folder / "utf8.csv"
        try:
            with open_text(self.dialect) as text, copy.open("w", encoding="utf-8", newline="") as out:
                while part := text.read(1 << 20):
                    out.write(part)
        except UnicodeError:
            raise DataProblem(
                f"{self.dialect.path.name}: starts like UTF-16 text but is not. Export it as CSV in UTF-8."
            ) from None
        return copy

    def _open(self, source: Path) -> Any:
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
        self._counter.ragged(row.number, row.expected_columns, row.actual_columns, row.text)
        return "skip"

    def _block(self, block: pa.RecordBatch) -> pl.DataFrame:
        """The good rows of one block; the others are counted and set aside."""
        numbers = self._counter.block(self._line_ends(block))
        self._set_ragged_aside(numbers.ragged)
        judged = {name: self._judged(judge, block) for name, judge in self._judges.items()}
        values = {name: column.values().alias(name) for name, column in judged.items()}
        frame = pl.DataFrame({**values, "record": numbers.records, "line": numbers.lines})
        return self._account(frame, judged)

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

    def _judged(self, judge: ColumnJudge, block: pa.RecordBatch) -> _Judged:
        coded = block.column(f"c{self.dialect.columns[judge.column.name]}")
        texts = pl.Series("text", coded.dictionary).cast(pl.String)
        return _Judged(texts, pl.Series(coded.indices).cast(pl.UInt32), judge.judge(texts))

    def _account(self, frame: pl.DataFrame, judged: dict[str, _Judged]) -> pl.DataFrame:
        """Count the rows of a block under used, set aside and excluded; return the used ones."""
        tally = self.tally
        blank = pl.repeat(True, len(frame), eager=True, dtype=pl.Boolean)
        bad = pl.repeat(False, len(frame), eager=True, dtype=pl.Boolean)
        for column in judged.values():
            if blank.any():
                blank = blank & column.blank()
        for name, column in judged.items():
            if column.verdict.get_column("rule").null_count() == len(column.verdict):
                continue
            rules = column.rules()
            failing = rules.is_not_null() & ~blank
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
        good = frame.filter(~(bad | blank))
        tally.rows_in += len(frame)
        tally.excluded["blank line"] += int(blank.sum())
        tally.used += len(good)
        return good

    def _keep_cells(self, frame: pl.DataFrame, name: str, rule: str, broken: pl.Series, column: _Judged) -> None:
        self.tally.cells[name, rule] += int(broken.sum())
        for place in broken.arg_true().head(self.tally.room(name, rule)).to_list():
            self.tally.keep(BadCell(frame["line"][place], frame["record"][place], name, rule, column.text(place)))

    def _set_ragged_aside(self, rows: Iterable[RaggedRow]) -> None:
        for row in rows:
            if re.search(LINE_ENDS, row.text.rstrip("\r\n")) and row.text.count('"') % 2:
                raise DataProblem(
                    f"{self.dialect.path.name}, line {row.line}: a quotation mark opens here and never closes, so the "
                    "rest of the file reads as one cell. Mend that line or export the file again."
                )
            self.tally.rows_in += 1
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
        if "straddling" in str(error):
            return f"{where} a row is longer than 16 MB; a quotation mark may be left open. Mend it or export again."
        return f"{where} the text cannot be split into rows. Export the file again as CSV."


def _one_array(column: pa.ChunkedArray) -> pa.Array:
    """The column as one array, which may hold no value."""
    return pa.concat_arrays(column.chunks) if column.num_chunks else pa.array([], column.type)
