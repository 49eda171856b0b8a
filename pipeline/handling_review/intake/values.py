"""From a cell's text to the canonical text that the contract judges, and on to a typed value.

Nothing is guessed: a value that cannot be read in the stated style is left as it stands, so that the contract names it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Decimal

import polars as pl

from handling_review.intake.contracts import Field

DECIMALS = 4  # places kept in the store; a payroll's 7.999999 is noise of its own arithmetic
_INVISIBLE = dict.fromkeys(map(ord, "\ufeff\u200b\u200c\u200d\u2060"), None) | {0xA0: " ", 0x202F: " ", 0x2007: " "}
_ISO = re.compile(r"([0-9]{4})([-/])([0-9]{1,2})\2([0-9]{1,2})(?:[T ].*)?")
_DAY_FIRST_OR_MONTH_FIRST = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4})(?:[T ].*)?")
_COMPACT = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})")
_GROUPED = re.compile(r"-?[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?")
_NUMBER = re.compile(r"-?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_IN_BRACKETS = re.compile(r"\((.*)\)")
_SENTINELS = ("1900-01-01", "9999-12-31")


@dataclass(frozen=True)
class Style:
    """How one file writes its values."""

    date_order: str = "iso"
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
        return _text_column(column, values)
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
    elif order != "iso" and (found := _DAY_FIRST_OR_MONTH_FIRST.fullmatch(text)):
        year = found[4]
        month, day = (found[1], found[3]) if order == "mdy" else (found[3], found[1])
    else:
        return text
    return f"{year}-{int(month):02d}-{int(day):02d}"


def looks_like_other_order(text: str) -> bool:
    """Whether the text is a date with the year last, which needs the order to be stated."""
    return _DAY_FIRST_OR_MONTH_FIRST.fullmatch(tidy(text)) is not None


def number_text(text: str, style: Style, *, whole: bool) -> str:
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
    return f"{number.quantize(Decimal(1).scaleb(-DECIMALS), rounding=ROUND_HALF_EVEN):f}"


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
