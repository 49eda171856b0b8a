"""Rows that are no data: repeated headers, totals, footers, test rows. Recognised from the text of their cells."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping

import polars as pl

from handling_review.intake.dialect import normal

REPEATED_HEADER = "repeated header"
TOTALS = "totals row"
FOOTER = "footer line"
TEST = "test row"

_TOTAL = (
    r"(?i)^(?:\W*(?:(?:grand|sub|report|overall|facility|unit|department)[\s_-]*)?totals?\b.*|"
    r"\W*sum(?:\s+of\b.*)?\W*|.*\b(?:sub[\s_-]?)?totals?:?)$"
)
_ONLY_TOTAL = r"(?i)^\W*(?:(?:grand|sub|report|overall)[\s_-]*)?totals?\W*$"
_FOOTER = (
    r"(?i)^\W*(?:end of (?:report|file|list|data|extract)|page\s+[0-9]+(?:\s+of\s+[0-9]+)?|confidential\b.*|"
    r"(?:printed|generated|exported|created|run|report)\s+(?:on|by|at|date|time)\b.*|"
    r"[0-9,]+\s+(?:rows?|records?|lines?)(?:\s+(?:selected|exported|returned|found|in all))?)\W*$"
)
_TEST = (
    r"(?i)^(?:test(?:ing)?(?:[\s_-]*(?:row|case|record|person|user|employee|unit|data|only|[0-9]+))*|"
    r"dummy(?:[\s_-].*)?|zz+[\s_-]*test.*)$"
)
TEST_COLUMNS = ("case_number", "employee_id", "unit", "job_title", "course", "role")
MARKS = ("is_blank", "is_header", "is_total", "is_only_total", "is_footer", "is_test")


def marks(texts: pl.Series, header: str) -> pl.DataFrame:
    """What each distinct cell text could mean for its row; one row a text, the columns of ``MARKS``."""
    text = pl.col("text")
    plain = text.str.strip_chars()
    slug = text.str.to_lowercase().str.replace_all(r"[\W_]+", "_").str.strip_chars("_")
    name = normal(header)
    found = {
        "is_blank": plain == "",
        "is_header": (slug == name) | (plain == name),
        "is_total": plain.str.contains(_TOTAL),
        "is_only_total": plain.str.contains(_ONLY_TOTAL),
        "is_footer": plain.str.contains(_FOOTER),
        "is_test": plain.str.contains(_TEST),
    }
    return pl.DataFrame({"text": texts}).select(**{mark: holds.fill_null(False) for mark, holds in found.items()})


def kinds(verdicts: Mapping[str, pl.DataFrame], places: Mapping[str, pl.Series], dated: tuple[str, ...]) -> pl.Series:
    """Kind of each row of a block: one of the four names, or null for a row of data.

    ``verdicts``: marks of the distinct texts of each mapped column; ``places``: each row's position in them; ``dated``:
    columns that must be blank in a totals row, since a unit may be called "Total Care"; in a file without such columns
    the word must stand alone. Shape: one value a row.
    """
    size = len(next(iter(places.values())))

    def spread(name: str, mark: str) -> pl.Series:
        return verdicts[name].get_column(mark).gather(places[name])

    def some(mark: str, names: list[str]) -> pl.Series | None:
        """Rows with the mark in any of the columns; None, the usual case, where no text has it."""
        hit = [name for name in names if verdicts[name].get_column(mark).any()]
        return _any([spread(name, mark) for name in hit], size) if hit else None

    columns = list(verdicts)
    found = pl.repeat(None, size, eager=True, dtype=pl.String)
    test = some("is_test", [name for name in columns if name in TEST_COLUMNS])
    found = found if test is None else _put(found, test, TEST)
    footer = some("is_footer", columns)
    if footer is not None:
        filled = sum((~spread(name, "is_blank")).cast(pl.Int32) for name in columns)
        found = _put(found, footer & (filled == 1), FOOTER)
    has_dates = any(name in dated for name in columns)
    total = some("is_total" if has_dates else "is_only_total", [name for name in columns if name not in dated])
    if total is not None and not has_dates:
        found = _put(found, total, TOTALS)
    elif total is not None:
        undated = _every([spread(name, "is_blank") for name in columns if name in dated], size)
        found = _put(found, total & undated, TOTALS)
    if all(verdicts[name].get_column("is_header").any() for name in columns):
        found = _put(found, _every([spread(name, "is_header") for name in columns], size), REPEATED_HEADER)
    return found


def _put(kinds_so_far: pl.Series, where: pl.Series, kind: str) -> pl.Series:
    frame = pl.DataFrame({"kind": kinds_so_far, "where": where})
    return frame.select(pl.when("where").then(pl.lit(kind)).otherwise("kind").alias("kind")).to_series()


def ragged_kind(text: str, delimiter: str, header: tuple[str, ...]) -> str | None:
    """Kind of a row that has another number of cells than the header: footers and totals often have fewer."""
    try:
        cells = [c.strip() for c in next(csv.reader([text], delimiter=delimiter), [])]
    except csv.Error:
        return None
    filled = [c for c in cells if c]
    if not filled:
        return None
    if len(filled) == 1 and re.search(_FOOTER, filled[0]):
        return FOOTER
    if re.search(_TOTAL, filled[0]) and len(cells) < len(header):
        return TOTALS
    return None


def holds_rows(text: str, delimiter: str, width: int, position: int, dated: tuple[int, ...]) -> bool:
    """Whether a cell of several lines holds whole rows of the file, or the start of one up to the cell's own column.

    ``width``: cells of a row; ``position``: the cell's column; ``dated``: columns that hold a day in every row, so that
    a story with as many commas is not taken for one.
    """
    lines = re.split(r"\r\n|\r|\n", text)[1:]
    for place, line in enumerate(lines, start=1):
        cells = line.split(delimiter)
        whole = len(cells) == width or (place == len(lines) and len(cells) == position + 1 > 1)
        days = [cells[column] for column in dated if column < len(cells)]
        if whole and days and all(re.search("[0-9]{2}", day) or not day.strip() for day in days) and any(days):
            return True
    return False


def _every(columns: list[pl.Series], size: int) -> pl.Series:
    found = pl.repeat(bool(columns), size, eager=True, dtype=pl.Boolean)
    for column in columns:
        found = found & column
    return found


def _any(columns: list[pl.Series], size: int) -> pl.Series:
    found = pl.repeat(False, size, eager=True, dtype=pl.Boolean)
    for column in columns:
        found = found | column
    return found
