"""From a cell's text to the canonical text that the contract judges, and on to a typed value.

Nothing is guessed: a value that cannot be read in the stated style is left as it stands, so that the contract names it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import ROUND_HALF_EVEN, Decimal

import polars as pl

from handling_review.intake.contracts import Field

PIVOT = 70  # two-digit years below it are 20xx; nobody at work today was hurt before 1970
DECIMALS = 4  # places kept in the store; a payroll's 7.999999 is noise of its own arithmetic
_INVISIBLE = dict.fromkeys(map(ord, "\ufeff\u200b\u200c\u200d\u2060"), None) | {0xA0: " ", 0x202F: " ", 0x2007: " "}
_ISO = re.compile(r"([0-9]{4})([-/])([0-9]{1,2})\2([0-9]{1,2})(?:[T ].*)?")
_DAY_FIRST_OR_MONTH_FIRST = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4})(?:[T ].*)?")
_SHORT_YEAR = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{2})")
_SERIAL = re.compile(r"([0-9]{5})(?:\.[0-9]+)?")
_CLOCK = re.compile(r"(-?)([0-9]{1,5}):([0-5][0-9])(?::[0-5][0-9])?")
_SCIENTIFIC = re.compile(r"[0-9](?:\.[0-9]+)?[eE]\+?[0-9]{1,3}")
_COMPACT = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})")
_GROUPED = re.compile(r"-?[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?")
_NUMBER = re.compile(r"-?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_IN_BRACKETS = re.compile(r"\((.*)\)")
_SENTINELS = ("1900-01-01", "9999-12-31")


@dataclass(frozen=True)
class Style:
    """How one file writes its values.

    ``date_order``: iso, mdy, dmy, serial (spreadsheet day numbers from 1900) or serial1904. ``hours_as``: decimal,
    hh:mm, minutes or days.
    """

    date_order: str = "iso"
    hours_as: str = "decimal"
    zero_pad: int = 0
    decimal_comma: bool = False
    delimiter: str = ","
    codes: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


def tidy(text: str) -> str:
    """The text without invisible characters and outer space; inner runs of space become one."""
    return " ".join(text.translate(_INVISIBLE).split())


def canonical(column: Field, values: pl.Series, style: Style) -> pl.Series:
    """Canonical text of each value, null where the cell says that there is none.

    ``values``: distinct cell texts, any length. Plain text columns are worked as a whole, since ids can be many.
    """
    codes = {tidy(k).casefold(): v for k, v in style.codes.get(column.name, {}).items()}
    if column.type == "string" and not column.enum and not codes:
        text = _text_column(column, values)
        if style.zero_pad and column.personal:  # only ids of digits alone: 123 and 00123 are then one person
            text = (
                pl.DataFrame({column.name: text})
                .select(
                    pl.when(pl.col(column.name).str.contains("^[0-9]+$"))
                    .then(pl.col(column.name).str.zfill(style.zero_pad))
                    .otherwise(column.name)
                    .alias(column.name)
                )
                .to_series()
            )
        return text
    missing = set(column.missing_values) - set(column.enum)
    synonyms = dict(column.synonyms)
    return pl.Series(
        column.name,
        [_one(column, tidy(v), style, codes, synonyms, missing) for v in values.to_list()],
        dtype=pl.String,
    )


def _text_column(column: Field, values: pl.Series) -> pl.Series:
    invisible = "[\ufeff\u200b\u200c\u200d\u2060]"
    space = r"[\s\u00a0\u202f\u2007]+"
    text = values.cast(pl.String).str.replace_all(invisible, "").str.replace_all(space, " ").str.strip_chars(" ")
    gone = text.str.to_lowercase().is_in(list(column.missing_values))
    frame = pl.DataFrame({"text": text, "gone": gone})
    return frame.select(pl.when("gone").then(None).otherwise("text").alias(column.name)).to_series()


def _one(
    column: Field,
    text: str,
    style: Style,
    codes: Mapping[str, str],
    synonyms: Mapping[str, str],
    missing: set[str],
) -> str | None:
    folded = text.casefold()
    if folded in codes:
        return codes[folded]
    if folded in missing:
        return None
    if column.type == "date":
        day = date_text(text, style.date_order)
        return None if day in _SENTINELS else day
    if column.name == "hours" and column.unit == "hours" and style.hours_as not in ("decimal", "fte"):
        return _hours_text(text, style)
    if column.type in ("number", "integer"):
        return number_text(text, style, whole=column.type == "integer")
    if column.type == "boolean":
        if folded in column.true_values:
            return "true"
        return "false" if folded in column.false_values else text
    if column.enum:
        slug = re.sub(r"[\s\-/]+", "_", folded)
        return slug if slug in column.enum else synonyms.get(slug, synonyms.get(folded, text))
    return text


def date_text(text: str, order: str) -> str:
    """The date as year-month-day if it is written in the stated order (or year first), else the text itself."""
    if found := _ISO.fullmatch(text):
        year, month, day = found[1], found[3], found[4]
    elif found := _COMPACT.fullmatch(text):
        year, month, day = found[1], found[2], found[3]
    elif order in ("mdy", "dmy") and (found := _DAY_FIRST_OR_MONTH_FIRST.fullmatch(text)):
        year = found[4]
        month, day = (found[1], found[3]) if order == "mdy" else (found[3], found[1])
    elif order in ("mdy", "dmy") and (found := _SHORT_YEAR.fullmatch(text)):
        year = f"20{found[4]}" if int(found[4]) < PIVOT else f"19{found[4]}"
        month, day = (found[1], found[3]) if order == "mdy" else (found[3], found[1])
    elif order.startswith("serial") and (found := _SERIAL.fullmatch(text)):
        start = date(1904, 1, 1) if order == "serial1904" else date(1899, 12, 30)
        return (start + timedelta(days=int(found[1]))).isoformat()
    else:
        return text
    return f"{year}-{int(month):02d}-{int(day):02d}"


def notes(column: Field, values: pl.Series, style: Style) -> pl.Series:
    """What was assumed in reading each distinct value, null where nothing was."""
    if column.personal or column.name == "case_number":
        plain = values.str.strip_chars()
        destroyed = plain.str.contains(f"^(?:{_SCIENTIFIC.pattern})$")
        frame = pl.DataFrame({"destroyed": destroyed})
        return frame.select(
            pl.when("destroyed").then(pl.lit("scientific id")).otherwise(None).alias("note")
        ).to_series()
    found: list[str | None] = [None] * len(values)
    if column.type == "date" and style.date_order in ("mdy", "dmy"):
        found = ["two-digit year" if _SHORT_YEAR.fullmatch(tidy(v)) else None for v in values.to_list()]
    return pl.Series("note", found, dtype=pl.String)


def _hours_text(text: str, style: Style) -> str:
    """Hours as decimal text from a clock, minutes or a fraction of a day; the text itself if it is none."""
    if style.hours_as == "hh:mm":
        found = _CLOCK.fullmatch(text)
        if not found:
            return text
        hours = Decimal(int(found[2])) + Decimal(int(found[3])) / 60
        return f"{-hours if found[1] else hours:.{DECIMALS}f}"
    number = number_text(text, style, whole=False)
    if not _NUMBER.fullmatch(number):
        return text
    factor = Decimal(1) / 60 if style.hours_as == "minutes" else Decimal(24)
    exact = number_text(text, style, whole=False, places=12)
    return f"{(Decimal(exact) * factor).quantize(Decimal(1).scaleb(-DECIMALS), rounding=ROUND_HALF_EVEN):f}"


def year_last(text: str) -> tuple[int, int] | None:
    """First and second number of a date with the year last, whose order must be stated; None if it is no such date."""
    plain = tidy(text)
    found = _DAY_FIRST_OR_MONTH_FIRST.fullmatch(plain) or _SHORT_YEAR.fullmatch(plain)
    return (int(found[1]), int(found[3])) if found else None


def number_text(text: str, style: Style, *, whole: bool, places: int = DECIMALS) -> str:
    """The number as plain digits with a decimal point, or the text itself if it is none."""
    plain = text.replace("\u2212", "-").replace(" ", "").lstrip("$€£").removesuffix("%")
    if found := _IN_BRACKETS.fullmatch(plain):
        plain = "-" + found[1].lstrip("$€£")
    if style.decimal_comma:
        plain = plain.replace(".", "").replace(",", ".")
    elif style.delimiter != ";" and _GROUPED.fullmatch(plain):
        plain = plain.replace(",", "")
    if not _NUMBER.fullmatch(plain) or len(plain) > 40:
        return text
    number = Decimal(plain)
    if whole:
        return str(int(number)) if number == int(number) else text
    return f"{number.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN):f}"


def typed(column: Field, values: pl.Series) -> pl.Series:
    """Canonical text as the column's own type; only for values that the contract has accepted (null elsewhere)."""
    if column.type == "date":
        return values.str.to_date("%Y-%m-%d", strict=False)
    if column.type == "integer":
        return values.cast(pl.Int64, strict=False)
    if column.type == "number":
        return values.str.to_decimal(scale=DECIMALS).cast(pl.Decimal(18, DECIMALS), strict=False)
    if column.type == "boolean":
        return pl.Series(values.name, values == "true", dtype=pl.Boolean)
    return values
