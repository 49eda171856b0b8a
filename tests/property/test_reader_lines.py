"""Line numbers that a person can go to in an editor, whatever the file's encoding, line ends, quotes and damage.

Each row carries a tag in its first cell. Where the tag stands is found by a naive scan: the text is cut at every line
end and the lines are counted from 1. A finding names the line on which its row begins.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handling_review.intake import reading
from handling_review.intake.contracts import contract
from handling_review.intake.dialect import Dialect, examine
from handling_review.intake.reading import FileReader
from handling_review.intake.values import Style

HEADER = ("case_number", "event_date", "body_part", "unit", "outcome", "days_away")
KINDS = ("good", "good", "good", "bad date", "bad outcome", "bad both", "bad days", "blank", "short", "long")
WORDS = st.sampled_from(("low back", "Knie links", "café au lait", "’", 'a 5" step', "left, then right; up | down", ""))
TITLES = ("Log of injuries", "", "café", "Printed for the committee", 'Lifts 5" wide')


@dataclass(frozen=True)
class Row:
    """One row: what is wrong with it, and the lines of text in its free cell."""

    kind: str
    words: tuple[str, ...]
    inner_end: str


@dataclass(frozen=True)
class Layout:
    """How the file is written."""

    encoding: str
    line_end: str
    delimiter: str
    titles: tuple[str, ...]
    header_in_two_lines: bool
    ends_with_line_end: bool
    block_bytes: int


LAYOUTS = st.builds(
    Layout,
    encoding=st.sampled_from(("utf-8", "utf-8-sig", "cp1252", "utf-16")),
    line_end=st.sampled_from(("\n", "\r\n", "\r")),
    delimiter=st.sampled_from((",", ";", "\t", "|")),
    titles=st.lists(st.sampled_from(TITLES), max_size=3).map(tuple),
    header_in_two_lines=st.booleans(),
    ends_with_line_end=st.booleans(),
    block_bytes=st.sampled_from((400, 700, 1500, 1 << 20)),  # small blocks: numbers must carry over to the next
)
ROWS = st.lists(
    st.builds(Row, st.sampled_from(KINDS), st.lists(WORDS, min_size=1, max_size=3).map(tuple), st.sampled_from("\n\r")),
    min_size=1,
    max_size=30,
)


def tag(number: int) -> str:
    return f"C{number:04d}"


def quoted(text: str, delimiter: str) -> str:
    return '"' + text.replace('"', '""') + '"' if re.search(rf'["\r\n{re.escape(delimiter)}]', text) else text


def record(number: int, row: Row, layout: Layout) -> str:
    """The text of one row without its line end."""
    if row.kind == "blank":
        return ""
    cells = [
        tag(number),
        f"bad{number:04d}" if row.kind in ("bad date", "bad both") else "2025-03-04",
        row.inner_end.join(row.words),
        "West Wing",
        f"odd{number:04d}" if row.kind in ("bad outcome", "bad both") else "first_aid",
        f"many{number:04d}" if row.kind == "bad days" else "",
    ]
    cells = {"short": cells[:4], "long": [*cells, "more"]}.get(row.kind, cells)
    return layout.delimiter.join(quoted(cell, layout.delimiter) for cell in cells)


def text_of(rows: list[Row], layout: Layout) -> str:
    header = [name.replace("_", "\n") if layout.header_in_two_lines else name for name in HEADER]
    head = layout.delimiter.join(quoted(name, layout.delimiter) for name in header)
    records = [*layout.titles, head, *(record(number, row, layout) for number, row in enumerate(rows, start=1))]
    return layout.line_end.join(records) + layout.line_end * layout.ends_with_line_end


def lines_of_tags(text: str) -> dict[str, int]:
    """Where each tag stands, by a scan that knows nothing of cells."""
    lines = re.split(r"\r\n|\r|\n", text)
    return {found[0]: place for place, line in enumerate(lines, start=1) for found in re.finditer(r"C[0-9]{4}", line)}


def line_of_odd_byte(text: str, layout: Layout) -> int:
    """Where the first letter stands that Windows-1252 writes as no UTF-8, 0 without one."""
    lines = re.split(r"\r\n|\r|\n", text)
    odd = [place for place, line in enumerate(lines, start=1) if not line.isascii()]
    return odd[0] if odd and layout.encoding == "cp1252" else 0


def read(text: str, layout: Layout) -> tuple[Dialect, FileReader, dict[str, int]]:
    """The file written and read again: how it was found to be written, the reader, and the lines of the used rows."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "incidents.csv"
        path.write_bytes(text.encode(layout.encoding))
        dialect = examine(path, contract("incidents"), {})
        reader = FileReader(dialect, contract("incidents"), Style(delimiter=dialect.delimiter))
        used: dict[str, int] = {}
        for batch in reader.batches():
            used |= dict(zip(batch.column("case_number").to_pylist(), batch.column("line").to_pylist(), strict=True))
    return dialect, reader, used


def numbers(rows: list[Row], *kinds: str) -> Iterator[int]:
    return (number for number, row in enumerate(rows, start=1) if row.kind in kinds)


def check(rows: list[Row], layout: Layout) -> None:
    """Hold every line that the reader gives against the scan."""
    text = text_of(rows, layout)
    at = lines_of_tags(text)
    dialect, reader, used = read(text, layout)
    assert dialect.delimiter == layout.delimiter
    assert used == {tag(n): at[tag(n)] for n in numbers(rows, "good", "bad days")}
    kept = {key: {cell.text: cell.line for cell in cells} for key, cells in reader.tally.kept.items()}
    for key, word, kinds in (
        (("event_date", "type"), "bad", ("bad date", "bad both")),
        (("outcome", "enum"), "odd", ("bad outcome", "bad both")),
        (("days_away", "type"), "many", ("bad days",)),
    ):
        assert kept.get(key, {}) == {f"{word}{n:04d}": at[tag(n)] for n in numbers(rows, *kinds)}
    ragged = [(cell.record, cell.line) for cell in reader.tally.kept.get(("row", "cells"), [])]
    assert ragged == [(n, at[tag(n)]) for n in numbers(rows, "short", "long")]
    blank = len([*numbers(rows, "blank")])
    if rows[-1].kind == "blank" and not layout.ends_with_line_end:
        blank -= 1  # nothing follows the last line end, so there is no such line
    assert reader.tally.excluded["blank line"] == blank
    assert dialect.odd_line == line_of_odd_byte(text, layout)


@settings(max_examples=150, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
@given(ROWS, LAYOUTS)
def test_every_line_is_where_a_naive_scan_finds_it(rows: list[Row], layout: Layout) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reading, "BLOCK_BYTES", layout.block_bytes)
        check(rows, layout)


def test_a_drawn_file() -> None:
    """Lines 1 and 2 are a title and an empty line, 3 the header; rows begin on 4, 5, 7, 8 (blank), 9 and 10."""
    rows = [
        Row("good", ("back",), "\n"),
        Row("bad date", ("left", "right"), "\n"),  # lines 5 and 6
        Row("bad outcome", ("arm",), "\n"),
        Row("blank", ("",), "\n"),
        Row("short", ("leg",), "\n"),
        Row("bad days", ("knee",), "\n"),
    ]
    layout = Layout("utf-8", "\r\n", ",", ("Log of injuries", ""), False, True, 1 << 20)
    text = text_of(rows, layout)
    assert text.splitlines()[5] == 'right",West Wing,first_aid,'
    check(rows, layout)
    _, reader, used = read(text, layout)
    assert used == {"C0001": 4, "C0006": 10}
    lines = {key: [cell.line for cell in cells] for key, cells in reader.tally.kept.items()}
    assert lines == {
        ("event_date", "type"): [5],
        ("outcome", "enum"): [7],
        ("row", "cells"): [9],
        ("days_away", "type"): [10],
    }


def test_an_inch_mark_in_a_title_opens_no_cell() -> None:
    """The quotation mark in the title would else close in the header, which stands in two lines, and hide it."""
    layout = Layout("utf-8", "\n", ",", ('Lifts 5" wide',), True, True, 1 << 20)
    check([Row("good", ("left", "right"), "\n"), Row("bad date", ("arm",), "\n")], layout)
