"""What must hold of every finished review, whatever the facility: read from its files alone."""

from __future__ import annotations

import csv
import json
import math
import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

Table = list[dict[str, str]]
RATE = "rate_per_200k_hours"  # the estimate of limits without a name of their own
SLACK = 1e-9
_BROKEN = re.compile(r"\b(?:nan|NaN|NaT|inf|Infinity|undefined|null)\b|<NA>|\bNone\b(?! [a-z])|\{\{|\}\}")
_SAYS = {"rate": "rate_per_200k_hours"}


def read_tables(out: Path) -> dict[str, Table]:
    """Every published table as rows of text."""
    found = {}
    for path in sorted((out / "tables").glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as stream:
            found[path.stem] = list(csv.DictReader(stream))
    return found


def broken(out: Path) -> list[str]:
    """Each thing that does not hold in the review of this folder, in words; empty for a good one."""
    tables = read_tables(out)
    page = (out / "program-review.html").read_text(encoding="utf-8")
    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    return [
        *_rows_that_do_not_balance(manifest),
        *_totals_that_differ(tables),
        *_intervals_out_of_order(tables),
        *_words_of_a_program(page),
        *_numbers_that_differ(page, tables["numbers"]),
    ]


def _rows_that_do_not_balance(manifest: dict[str, list[dict[str, object]]]) -> list[str]:
    files = {str(row["file"]) for row in manifest["inputs"]}
    said = []
    for file in sorted(files):
        came = sum(int(str(row["rows"])) for row in manifest["inputs"] if row["file"] == file)
        accounted = sum(int(str(row["rows"])) for row in manifest["row_accounting"] if row["file"] == file)
        if came != accounted:
            said.append(f"{file}: {came} rows came in, {accounted} are accounted for")
    return said


def _sums(rows: Table, by: tuple[str, ...]) -> dict[tuple[str, ...], tuple[float, float]]:
    """Cases and hours by the given columns."""
    found: dict[tuple[str, ...], tuple[float, float]] = {}
    for row in rows:
        key = tuple(row[name] for name in by)
        cases, hours = found.get(key, (0.0, 0.0))
        found[key] = (cases + float(row["cases"] or 0), hours + float(row["hours_worked"] or 0))
    return found


def _totals_that_differ(tables: dict[str, Table]) -> list[str]:
    """Cases and hours of the facility by quarter are those of its units, and those of all phases together."""
    whole = _sums(tables["rates_by_quarter"], ("quarter", "series"))
    parts = _sums(tables["rates_by_unit_and_quarter"], ("quarter", "series"))
    said = [
        f"{key}: {whole[key]} in the facility, {parts[key]} in its units"
        for key in whole.keys() & parts.keys()
        if not _close(whole[key], parts[key])
    ]
    by_series = _sums(tables["rates_by_quarter"], ("series",))
    phases = _sums([row for row in tables["phases"] if row["phase"] != "all"], ("series",))
    said += [
        f"{key}: {by_series[key]} in the quarters, {phases[key]} in the phases"
        for key in by_series.keys() & phases.keys()
        if not _close(by_series[key], phases[key])
    ]
    return said


def _close(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return one[0] == other[0] and math.isclose(one[1], other[1], rel_tol=1e-9, abs_tol=1e-3)


def _intervals_out_of_order(tables: dict[str, Table]) -> list[str]:
    said = []
    for name, rows in tables.items():
        for lower in [column for column in (rows[0] if rows else ()) if re.search(r"(^|_)lower_[0-9]", column)]:
            upper = lower.replace("lower_", "upper_")
            stem = re.sub(r"_?lower_[0-9._]+$", "", lower)
            names = (
                (stem, f"{stem}_rate_per_200k_hours", f"{stem}_per_200k_hours") if stem else ("rate_per_200k_hours",)
            )
            middle = next((name for name in names if name in rows[0]), "")
            if not middle:
                said.append(f"{name}.csv: no estimate stands beside {lower}")
            for place, row in enumerate(rows, start=2):
                values = [float(row[c]) for c in (lower, middle, upper) if c and row.get(c, "") != ""]
                if any(math.isnan(v) for v in values) or any(
                    a > b + SLACK * max(1.0, abs(b)) for a, b in pairwise(values)
                ):
                    said.append(f"{name}.csv, line {place}: {lower}, {middle}, {upper} are {values}")
    return said


class _Text(HTMLParser):
    """Words of a page, and the numbers that carry a key."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.words: list[str] = []
        self.json: list[str] = []
        self.numbers: list[tuple[str, str | None, str]] = []
        self._inside = self._tag = ""
        self._keyed: tuple[str, str | None] | None = None
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self._tag = tag
        if tag in ("script", "style"):
            self._inside = values.get("type") or tag
        if "data-key" in values:
            self._keyed = (values["data-key"] or "", values.get("value"))
        self.words += [value for name, value in attrs if value and name in ("title", "aria-label", "alt", "value")]

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style"):
            self._inside = ""

    def handle_data(self, data: str) -> None:
        if self._inside == "application/json":
            self.json.append(data)
        elif not self._inside:
            if not (self._tag == "th" and data == "None"):  # the column of cases without equipment
                self.words.append(data)
            if self._keyed is not None:
                self.numbers.append((*self._keyed, data))
                self._keyed = None


def _words_of_a_program(page: str) -> list[str]:
    text = _Text(page)
    said = [f"the page says {found[0]!r} in {word[:120]!r}" for word in text.words if (found := _BROKEN.search(word))]
    for content in text.json:
        try:
            json.loads(content, parse_constant=_refuse)
        except ValueError as error:
            said.append(f"data of a picture: {error}")
    return said


def _refuse(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _numbers_that_differ(page: str, numbers: Table) -> list[str]:
    published = {row["key"]: row for row in numbers}
    said = []
    for key, value, shown in _Text(page).numbers:
        row = published.get(key)
        if row is None:
            said.append(f"the page shows {shown!r} under {key!r}, which numbers.csv does not hold")
        elif shown != row["shown"].removeprefix("'"):
            said.append(f"{key}: the page shows {shown!r}, numbers.csv {row['shown']!r}")
        elif value is not None and float(value) != float(row["value"]):
            said.append(f"{key}: the page holds {value}, numbers.csv {row['value']}")
    return said
