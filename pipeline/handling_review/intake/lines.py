"""Record numbers and physical line numbers of a stream of rows, ragged rows among them."""

from __future__ import annotations

import re
from dataclasses import dataclass

import polars as pl

_LINE_END = re.compile(r"\r\n|\r|\n")


@dataclass(frozen=True)
class RaggedRow:
    """A row with another number of cells than the header: its record number, cell counts and text."""

    record: int
    expected: int
    actual: int
    text: str
    line: int = 0


@dataclass(frozen=True)
class Numbers:
    """Numbers of the good rows of one block, the ragged rows between them, and where the next block begins."""

    records: pl.Series
    lines: pl.Series
    ragged: tuple[RaggedRow, ...]
    next_record: int
    next_line: int


class LineCounter:
    """Gives each row its record number (1 is the first row under the header) and its physical line in the file."""

    def __init__(self, first_line: int) -> None:
        self._first_line = first_line
        self.record = 1
        self.line = first_line
        self._waiting: list[RaggedRow] = []

    def ragged(self, number: int, expected: int, actual: int, text: str) -> None:
        """Note a ragged row as the parser meets it; ``number`` counts rows from the top of the file, header included.

        The parser counts the lines above the data as one row each.
        """
        self._waiting.append(RaggedRow(number - (self._first_line - 1), expected, actual, text))

    def block(self, line_ends: pl.Series) -> Numbers:
        """Numbers of the next ``len(line_ends)`` good rows.

        ``line_ends``: whole numbers, the line ends inside each row's own cells.
        """
        size = len(line_ends)
        if not self._waiting:
            return self._plain(line_ends, size)
        records, lines, ragged, done = [], [], [], 0
        while done < size:
            ragged += self._pass_ragged()
            rows = min(size - done, self._waiting[0].record - self.record) if self._waiting else size - done
            part = self._plain(line_ends.slice(done, rows), rows)
            records.append(part.records)
            lines.append(part.lines)
            done += rows
        empty = pl.Series([], dtype=pl.Int64)
        return Numbers(
            pl.concat(records) if records else empty,
            pl.concat(lines) if lines else empty,
            tuple(ragged),
            self.record,
            self.line,
        )

    def _plain(self, line_ends: pl.Series, size: int) -> Numbers:
        records = pl.int_range(self.record, self.record + size, eager=True, dtype=pl.Int64)
        before = line_ends.cum_sum() - line_ends
        lines = pl.int_range(self.line, self.line + size, eager=True, dtype=pl.Int64) + before
        self.record, self.line = self.record + size, self.line + size + int(line_ends.sum())
        return Numbers(records, lines, (), self.record, self.line)

    def rest(self) -> tuple[RaggedRow, ...]:
        """Ragged rows after the last good row."""
        return tuple(self._pass_ragged())

    def _pass_ragged(self) -> list[RaggedRow]:
        passed = []
        while self._waiting and self._waiting[0].record == self.record:
            row = self._waiting.pop(0)
            passed.append(RaggedRow(row.record, row.expected, row.actual, row.text, self.line))
            self.record, self.line = self.record + 1, self.line + 1 + len(_LINE_END.findall(row.text))
        return passed
