"""The line named for a bad cell is the line a text editor shows, whatever the file is written in.

Oracle: a naive scan of the physical text. Every row and every bad cell carries a mark that stands nowhere else in the
file; its line is one more than the line ends before the mark (CR LF, LF and CR each end one line).
"""

from __future__ import annotations

import codecs
import re
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from handling_review.intake import reading
from handling_review.intake.contracts import contract
from handling_review.intake.dialect import examine
from handling_review.intake.reading import FileReader
from handling_review.intake.values import Style

EXAMPLES = 400
SMALL_BLOCK = 512  # bytes; a file of some rows is then read in several blocks
HEADER = ("employee_id", "unit", "work_date", "hours", "role")
CONTRACT = contract("hours")
DELIMITERS = (",", ";", "\t", "|")
LINE_ENDS = ("\n", "\r\n", "\r")
TITLES = ("Payroll register", "", "Printed 2025-07-01", "Café Süd", 'Sum of "all" hours', 'Lifts 5" wide')
KINDS = ("good",) * 4 + ("bad hours", "bad date", "no unit", "blank", "blank cells", "short", "long", "long")
ENCODINGS = ("utf-16-be", "utf-8", "utf-8-sig", "cp1252", "utf-16-le")
BOMS = {"utf-16-le": codecs.BOM_UTF16_LE, "utf-16-be": codecs.BOM_UTF16_BE}


@dataclass(frozen=True)
class Row:
    """One row to be written: its kind, the lines inside its last cell, and whether cells stand in quotation marks."""

    kind: str
    inside: int
    quoted: bool


@dataclass(frozen=True)
class Export:
    """How one file is written. ``inner_end``: the line end inside cells, which need not be the one of the rows."""

    rows: tuple[Row, ...]
    titles: tuple[str, ...]
    tall_header: bool
    delimiter: str
    line_end: str
    inner_end: str
    encoding: str
    ends: bool

    def text(self) -> str:
        """The whole file."""
        header = [f'"role{self.inner_end} "' if self.tall_header and name == "role" else name for name in HEADER]
        lines = [*self.titles, self.delimiter.join(header), *(self._row(n, row) for n, row in enumerate(self.rows))]
        return self.line_end.join(lines) + (self.line_end if self.ends else "")

    def content(self) -> bytes:
        return BOMS.get(self.encoding, b"") + self.text().encode(self.encoding)

    def _row(self, number: int, row: Row) -> str:
        if row.kind == "blank":
            return ""
        cells = [f"E{number:04d}E", "Süd", "2025-03-14", "7.5", self.inner_end.join(["aide ’n"] * (row.inside + 1))]
        if row.kind == "blank cells":
            cells = [" "] * len(cells)
        elif row.kind == "bad hours":
            cells[3] = f"H{number:04d}H"
        elif row.kind == "bad date":
            cells[2] = f"D{number:04d}D"
        elif row.kind == "no unit":
            cells[1] = ""
        elif row.kind == "short":
            cells.pop(1)
        elif row.kind == "long":
            cells.append("more")
        if row.quoted or row.inside:
            cells = [f'"{cell}"' for cell in cells]
        return self.delimiter.join(cells)


@st.composite
def exports(draw: st.DrawFn) -> Export:
    inside = st.sampled_from((0, 0, 0, 0, 1, 2, 5)) if draw(st.booleans()) else st.just(0)
    rows = st.builds(Row, st.sampled_from(KINDS), inside, st.sampled_from((False, False, True)))
    line_end = draw(st.sampled_from(LINE_ENDS))
    return Export(
        rows=(Row("good", 0, False), *draw(st.lists(rows, min_size=1, max_size=40))),
        titles=tuple(draw(st.lists(st.sampled_from(TITLES), max_size=5))) if draw(st.booleans()) else (),
        tall_header=draw(st.integers(0, 5)) == 0,
        delimiter=draw(st.sampled_from(DELIMITERS)),
        line_end=line_end,
        inner_end=draw(st.sampled_from((line_end, *LINE_ENDS))),
        encoding=draw(st.sampled_from(ENCODINGS)),
        ends=draw(st.booleans()),
    )


def line_in(text: str, mark: str) -> int:
    """Physical line of a mark, from 1: the naive scan."""
    assert text.count(mark) == 1
    return len(re.findall("\r\n|\r|\n", text[: text.index(mark)])) + 1


def hold(export: Export, block: int) -> Counter[str]:
    """Read the file and hold every line number against the scan; returns how many of each kind were met."""
    text = export.text()
    with tempfile.TemporaryDirectory() as folder, patch.object(reading, "BLOCK_BYTES", block):
        path = Path(folder) / "hours.csv"
        path.write_bytes(export.content())
        dialect = examine(path, CONTRACT, {})
        reader = FileReader(dialect, CONTRACT, Style())
        used = [row for batch in reader.batches() for row in batch.to_pylist()]
    assert dialect.header_line == line_in(text, "employee_id")
    wanted = {kind: [n for n, row in enumerate(export.rows) if row.kind == kind] for kind in KINDS}
    assert {row["employee_id"]: row["line"] for row in used} == lines_of_marks(text, "E", wanted["good"])
    assert [row["record"] for row in used] == [number + 1 for number in wanted["good"]]
    tally = reader.tally
    for column, letter, kind in (("hours", "H", "bad hours"), ("work_date", "D", "bad date")):
        kept = tally.kept.get((column, "type"), [])
        assert {bad.text: bad.line for bad in kept} == lines_of_marks(text, letter, wanted[kind])
    places = {"no unit": ("unit", "required"), "short": ("row", "cells"), "long": ("row", "cells")}
    for place in sorted(set(places.values())):
        numbers = sorted(n for kind in places if places[kind] == place for n in wanted[kind])
        kept = tally.kept.get(place, [])
        assert [bad.line for bad in kept] == [*lines_of_marks(text, "E", numbers).values()]
        assert [bad.record for bad in kept] == [number + 1 for number in numbers]
    return Counter({kind: len(numbers) for kind, numbers in wanted.items()})


def lines_of_marks(text: str, letter: str, numbers: list[int]) -> dict[str, int]:
    marks = [f"{letter}{number:04d}{letter}" for number in numbers]
    return {mark: line_in(text, mark) for mark in marks}


def test_every_line_number_is_the_one_an_editor_shows() -> None:
    seen: Counter[str] = Counter()
    phases = (Phase.explicit, Phase.generate, Phase.shrink)  # explaining a failure runs it many times more

    @settings(
        max_examples=EXAMPLES,
        derandomize=True,
        deadline=None,
        phases=phases,
        suppress_health_check=list(HealthCheck),
    )
    @given(exports(), st.sampled_from((SMALL_BLOCK, reading.BLOCK_BYTES)))
    def holds(export: Export, block: int) -> None:
        seen.update(hold(export, block))
        seen[export.encoding] += 1

    holds()
    rare = {kind: seen[kind] for kind in (*KINDS, *ENCODINGS) if seen[kind] < EXAMPLES // 80}
    assert not rare, "too few of a kind to tell"


def test_an_inch_mark_in_a_title_opens_no_cell() -> None:
    hold(Export((Row("good", 0, True),), ('Lifts 5" wide',), True, ",", "\n", "\n", "utf-8", True), SMALL_BLOCK)


def test_the_scan_counts_lines_as_an_editor_does() -> None:
    text = 'a,b\r\n"one\ntwo",E0001E\r\rE0002E\n\nE0003E'
    assert [line_in(text, f"E000{n}E") for n in (1, 2, 3)] == [3, 5, 7]
