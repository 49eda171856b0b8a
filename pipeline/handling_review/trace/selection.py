"""The rows behind a number: a query that anybody can paste into the database, and what it finds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from handling_review.trace.output import Output

EACH, RANGES, COUNT = "each", "ranges", "count"
SERIES_SQL = {
    "handling": "is_recordable AND is_handling",
    "non_handling": "is_recordable AND NOT is_handling",
    "recordable": "is_recordable",
    "dart": "is_dart",
    "days_away": "outcome = 'days_away'",
    "first_aid": "outcome = 'first_aid'",
}


@dataclass(frozen=True)
class Selection:
    """Rows of one table of the database that meet all of ``where``.

    Attributes:
        title: what the rows are, in words.
        file: the kind of input file they come from.
        table: table or view with file_no, record and line, or any table where ``lines`` is COUNT.
        amount: SQL expression that is added up over the rows; "" to count them.
        unit: of the amount, or of the count.
        lines: EACH names every line, RANGES joins neighbouring ones, COUNT names none.
        note: one more sentence.
        few: the number is published as fewer than a threshold, so it is not given here either.
        splits: whether a row can lie in part in the selection (columns part_e8 and row_e8).
    """

    title: str
    file: str
    table: str
    where: tuple[str, ...]
    amount: str = ""
    unit: str = "rows"
    lines: str = EACH
    note: str = ""
    splits: bool = False
    few: bool = False

    def query(self) -> str:
        """The query that gives the number of rows and, where there is one, the amount."""
        if not self.amount:
            what = f"count(*) AS {_word(self.unit)}"
        else:
            rows = "count(DISTINCT (file_no, record)) AS rows, " if self.lines != COUNT else ""
            what = f"{rows}{self.amount} AS {_word(self.unit)}"
        return f"SELECT {what}\nFROM {self.table}{_conditions(self.where)};"

    def amount_query(self) -> str:
        """The query of the amount alone, on one line."""
        return f"SELECT {self.amount or 'count(*)'} FROM {self.table}{_conditions(self.where)}".replace("\n", " ")

    def line_query(self) -> str:
        """The query that lists the rows by file and line."""
        return f"SELECT DISTINCT file_no, line\nFROM {self.table}{_conditions(self.where)}\nORDER BY file_no, line;"


@dataclass(frozen=True)
class Found:
    """What a selection holds: rows, the amount (``None`` for a plain count), and lines by file name."""

    rows: int
    amount: float | None
    lines: tuple[tuple[str, tuple[int, ...]], ...]
    in_part: int

    @property
    def total(self) -> float:
        """The amount where there is one, else the number of rows."""
        return float(self.rows) if self.amount is None else self.amount


def find(output: Output, selection: Selection) -> Found:
    """Run a selection."""
    if selection.splits:
        return _find_parts(output, selection)
    first = output.rows(selection.query())[0]
    amount = float(first[-1] or 0) if selection.amount else None
    if selection.lines == COUNT:
        return Found(int(first[0] or 0) if amount is None else 0, amount, (), 0)
    return Found(int(first[0]), amount, _by_file(output, selection, output.rows(selection.line_query())), 0)


def _find_parts(output: Output, selection: Selection) -> Found:
    """Rows that can lie in the selection in part: one pass over the database, since the parts are worked out there."""
    scale = "e8" if "e8" in selection.amount else "e4"
    rows = output.rows(
        f"SELECT file_no, line, CAST(sum(part_{scale}) AS BIGINT), any_value(row_{scale}) FROM {selection.table}"
        f"{_conditions(selection.where)} GROUP BY file_no, record, line ORDER BY file_no, line"
    )
    amount = sum(int(part) for _, _, part, _ in rows) / 10 ** int(scale[1:])
    in_part = sum(part != whole for _, _, part, whole in rows)
    return Found(len(rows), amount, _by_file(output, selection, [(row[0], row[1]) for row in rows]), in_part)


def _by_file(
    output: Output, selection: Selection, rows: Iterable[tuple[Any, ...]]
) -> tuple[tuple[str, tuple[int, ...]], ...]:
    listed: dict[str, list[int]] = {}
    for file_no, line in rows:
        listed.setdefault(output.file_name(selection.file, int(file_no)), []).append(int(line))
    return tuple((name, tuple(lines)) for name, lines in listed.items())


def ranges(lines: Iterable[int]) -> str:
    """Lines in order, neighbours joined: ``2-5, 9``."""
    spans: list[list[int]] = []
    for line in lines:
        if spans and line == spans[-1][1] + 1:
            spans[-1][1] = line
        else:
            spans.append([line, line])
    return ", ".join(str(first) if first == last else f"{first}-{last}" for first, last in spans)


def quoted(text: str) -> str:
    """A text as an SQL literal."""
    return "'" + text.replace("'", "''") + "'"


def one_of(column: str, values: Iterable[str]) -> str:
    """SQL: the column is one of some texts; of none it is never."""
    listed = [quoted(value) for value in values]
    if not listed:
        return "FALSE"
    return f"{column} = {listed[0]}" if len(listed) == 1 else f"{column} IN ({', '.join(listed)})"


def _conditions(where: tuple[str, ...]) -> str:
    return "".join(f"\n{'WHERE' if i == 0 else '    AND'} {_bracketed(condition)}" for i, condition in enumerate(where))


def _bracketed(condition: str) -> str:
    return f"({condition})" if " OR " in condition else condition


def _word(unit: str) -> str:
    return "".join(letter if letter.isalnum() else "_" for letter in unit) or "rows"
