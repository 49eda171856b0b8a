"""What every file of the messy twin needs: the twin itself, and how rows are read and written."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

Row = dict[str, str]
UNIT_SPELLINGS = {"Alder House": "AH-1 (old)", "Birch House": "BIRCH  house", "Fir Terrace": " Fir\u00a0Terrace "}
YES = ("Yes", "Y", "TRUE", "1", "x", "checked")
NO = ("No", "N", "FALSE", "0", "unchecked")


@dataclass
class Twin:
    """``rows``: by kind of file, rows more under each rule than in the clean files."""

    folder: Path
    rows: dict[str, Counter[str]] = field(default_factory=dict)
    codes: str = ""

    def plant(self, file: str, rule: str, rows: int) -> None:
        self.rows.setdefault(file, Counter())[rule] += rows

    def write(self, name: str, text: str, encoding: str) -> None:
        (self.folder / f"{name}.csv").write_bytes(text.encode(encoding))


def read_rows(path: Path) -> list[Row]:
    return list(
        csv.DictReader(io.StringIO(path.read_bytes().decode("cp1252" if path.stem == "incidents" else "utf-8")))
    )


def lines(rows: Iterable[list[str]], delimiter: str, end: str, *, quote: bool = False) -> str:
    out = io.StringIO()
    csv.writer(
        out, delimiter=delimiter, lineterminator=end, quoting=csv.QUOTE_ALL if quote else csv.QUOTE_MINIMAL
    ).writerows(rows)
    return out.getvalue()


def yes_no(text: str, number: int) -> str:
    return YES[number % 6] if text == "yes" else NO[number % 5] if text == "no" else ""
