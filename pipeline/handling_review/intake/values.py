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
from handling_review.visible import CONTROLS, DIRECTION, TAGS, UNSEEN

PIVOT = 70  # two-digit years below it are 20xx; nobody at work today was hurt before 1970
DECIMALS = 4  # places kept in the store; a payroll's 7.999999 is noise of its own arithmetic
GIANT = 4096  # characters; no column accepts a tenth of it
WHOLE_DIGITS = 16  # no column holds more before the decimal point; far more would overflow the arithmetic
_INVISIBLE = re.compile(f"[{UNSEEN}]")
_HIDDEN = f"[{DIRECTION}{TAGS}{CONTROLS}]"  # told when met; a byte order mark or the like is not
_SPACES = {0xA0: " ", 0x202F: " ", 0x2007: " "}
_DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2015\u2212"), "-")  # typed by word processors
_ZONE = r"(?:Z|UTC|GMT|[+-][0-9]{2}:?[0-9]{2})"
_TIME = rf"(?:[T ][0-9]{{1,2}}:[0-9]{{2}}(?::[0-9]{{2}}(?:[.,][0-9]+)?)?(?: ?[AaPp]\.?[Mm]\.?)?(?: ?{_ZONE})?)?"
_ISO = re.compile(r"([0-9]{4})([-/])([0-9]{1,2})\2([0-9]{1,2})" + _TIME)
_DAY_FIRST_OR_MONTH_FIRST = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4})" + _TIME)
_SHORT_YEAR = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{2})" + _TIME)
_DAY_NAME = r"(?:(?:mon|tues?|wed(?:nes)?|thu(?:rs)?|fri|sat(?:ur)?|sun)(?:day)?\.?,? )?"
_MONTH_NAME = (
    r"(jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?|"
    r"nov(?:ember)?|dec(?:ember)?)\.?"
)
_DAY_MONTH_NAME = re.compile(
    _DAY_NAME + r"([0-9]{1,2})[-/ ]" + _MONTH_NAME + r"[-/ ,]+([0-9]{4}|[0-9]{2})" + _TIME, re.I
)
_MONTH_NAME_DAY = re.compile(_DAY_NAME + _MONTH_NAME + r"[-/ ]([0-9]{1,2})[-/ ,]+([0-9]{4}|[0-9]{2})" + _TIME, re.I)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_WITH_ZONE = re.compile(rf".*[0-9]:[0-9]{{2}}.*{_ZONE}")
_SERIAL = re.compile(r"([0-9]{5})(?:\.[0-9]+)?")
_CLOCK = re.compile(r"(-?)([0-9]{1,5}):([0-5][0-9])(?::[0-5][0-9])?")
_SCIENTIFIC = re.compile(r"[0-9](?:\.[0-9]+)?[eE]\+[0-9]{1,3}|[0-9]\.[0-9]+[eE][0-9]{1,3}")  # 1E5 may be a true id
_COMPACT = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})")
_GROUPED = re.compile(r"-?[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?")
_GROUPED_BY_POINTS = re.compile(r"-?[0-9]{1,3}(?:\.[0-9]{3})+(?:,[0-9]+)?")
_EITHER_WAY = r"^\s*-?[1-9][0-9]{0,2}\.[0-9]{3}\s*$"  # 1.234 is a little over one, or over a thousand
_BY_POINT = r"^\s*-?(?:[0-9]*\.(?:[0-9]{1,2}|[0-9]{4,})|0?\.[0-9]{3}|[0-9]{4,}\.[0-9]{3})\s*$"
_NUMBER = re.compile(r"-?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_IN_BRACKETS = re.compile(r"\((.*)\)")
_SENTINELS = ("1900-01-01", "9999-12-31")


@dataclass(frozen=True)
class Style:
    """How one file writes its values.

    ``date_order``: iso, mdy, dmy, serial (spreadsheet day numbers from 1900) or serial1904. ``hours_as``: decimal,
    hh:mm, minutes or days. ``decimal_comma``: None where the program file does not say.
    """

    date_order: str = "iso"
    hours_as: str = "decimal"
    zero_pad: int = 0
    decimal_comma: bool | None = False
    delimiter: str = ","
    codes: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


def tidy(text: str) -> str:
    """The text without invisible characters and outer space; inner runs of space become one."""
    return " ".join(_INVISIBLE.sub("", text).translate(_SPACES).split())


def without_giants(texts: pl.Series) -> pl.Series:
    """The texts, those of over ``GIANT`` characters cut short after tidying: no rule accepts them, and all are kept."""
    long = texts.str.len_bytes() > GIANT
    if not long.any():
        return texts
    return pl.Series(
        texts.name, [tidy(text)[:GIANT] if text and len(text) > GIANT else text for text in texts.to_list()], pl.String
    )


def canonical(column: Field, values: pl.Series, style: Style) -> pl.Series:
    """Canonical text of each value, null where the cell says that there is none.

    ``values``: distinct cell texts, any length. Plain text columns are worked as a whole, since ids can be many.
    """
    codes = {tidy(k).casefold(): v for k, v in style.codes.get(column.name, {}).items()}
    if column.type == "string" and not column.enum and not codes:
        return _padded(_text_column(column, values), column, style)
    missing = set(column.missing_values) - set(column.enum)
    synonyms = dict(column.synonyms)
    texts = pl.Series(
        column.name,
        [_one(column, tidy(v), style, codes, synonyms, missing) for v in values.to_list()],
        dtype=pl.String,
    )
    return _padded(texts, column, style)


def _is_id(column: Field) -> bool:
    return column.personal or column.name == "case_number"


def _padded(texts: pl.Series, column: Field, style: Style) -> pl.Series:
    """Ids of digits alone at one width, if the facility asks for it: 123 and 00123 are then one person."""
    if not (style.zero_pad and column.personal):
        return texts
    id_text = pl.col(column.name)
    padded = pl.when(id_text.str.contains("^[0-9]+$")).then(id_text.str.zfill(style.zero_pad)).otherwise(id_text)
    return pl.DataFrame({column.name: texts}).select(padded.alias(column.name)).to_series()


def _text_column(column: Field, values: pl.Series) -> pl.Series:
    space = r"[\s\x1c-\x1f\u00a0\u202f\u2007]+"
    dashes = "[" + "".join(map(chr, _DASHES)) + "]"
    seen = values.cast(pl.String).str.replace_all(_INVISIBLE.pattern, "")
    text = seen.str.replace_all(space, " ").str.strip_chars(" ")
    plain = text.str.replace_all(dashes, "-")
    gone = plain.str.to_lowercase().is_in(list(column.missing_values))
    frame = pl.DataFrame({"text": plain if _is_id(column) else text, "gone": gone})
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
        return codes[folded] or None  # "0" = "" in the program file: 0 stands for no value
    if folded.translate(_DASHES) in missing:
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
    if _is_id(column):
        return text.translate(_DASHES)
    if column.enum:
        slug = re.sub(r"[\s\-/]+", "_", folded)
        return slug if slug in column.enum else synonyms.get(slug, synonyms.get(folded, text))
    return text


def date_text(text: str, order: str) -> str:
    """The date as year-month-day if it is written in the stated order, year first, or with an English month name.

    Otherwise the text itself. A time of day behind the date is left off.
    """
    if found := _ISO.fullmatch(text):
        year, month, day = found[1], found[3], found[4]
    elif found := _COMPACT.fullmatch(text):
        year, month, day = found[1], found[2], found[3]
    elif found := _DAY_MONTH_NAME.fullmatch(text):
        year, month, day = _full_year(found[3]), _month(found[2]), found[1]
    elif found := _MONTH_NAME_DAY.fullmatch(text):
        year, month, day = _full_year(found[3]), _month(found[1]), found[2]
    elif order in ("mdy", "dmy") and (found := _DAY_FIRST_OR_MONTH_FIRST.fullmatch(text)):
        year = found[4]
        month, day = (found[1], found[3]) if order == "mdy" else (found[3], found[1])
    elif order in ("mdy", "dmy") and (found := _SHORT_YEAR.fullmatch(text)):
        year = _full_year(found[4])
        month, day = (found[1], found[3]) if order == "mdy" else (found[3], found[1])
    elif order.startswith("serial") and (found := _SERIAL.fullmatch(text)):
        start = date(1904, 1, 1) if order == "serial1904" else date(1899, 12, 30)
        return (start + timedelta(days=int(found[1]))).isoformat()
    else:
        return text
    return f"{year}-{int(month):02d}-{int(day):02d}"


def _full_year(year: str) -> str:
    if len(year) == 4:
        return year
    return f"20{year}" if int(year) < PIVOT else f"19{year}"


def _month(name: str) -> str:
    return str(_MONTHS.index(name[:3].lower()) + 1)


def notes(column: Field, values: pl.Series, style: Style) -> pl.Series:
    """What was assumed in reading each distinct value, null where nothing was."""
    found = pl.DataFrame({"note": _notes(column, values, style), "text": values.cast(pl.String)})
    hidden = pl.col("note").is_null() & pl.col("text").str.contains(_HIDDEN)
    return found.select(pl.when(hidden).then(pl.lit("hidden signs")).otherwise("note").alias("note")).to_series()


def _notes(column: Field, values: pl.Series, style: Style) -> pl.Series:
    if _is_id(column):
        plain = values.str.strip_chars()
        destroyed = plain.str.contains(f"^(?:{_SCIENTIFIC.pattern})$")
        frame = pl.DataFrame({"destroyed": destroyed})
        return frame.select(
            pl.when("destroyed").then(pl.lit("scientific id")).otherwise(None).alias("note")
        ).to_series()
    found: list[str | None] = [None] * len(values)
    if column.type == "date":
        found = [_date_note(tidy(v), style) for v in values.to_list()]
    elif column.type == "number" and style.decimal_comma is None and style.delimiter != ",":
        found = ["point or comma" if re.fullmatch(_EITHER_WAY, v) else None for v in values.to_list()]
    return pl.Series("note", found, dtype=pl.String)


def _date_note(text: str, style: Style) -> str | None:
    if style.date_order in ("mdy", "dmy") and _SHORT_YEAR.fullmatch(text):
        return "two-digit year"
    named = _DAY_MONTH_NAME.fullmatch(text) or _MONTH_NAME_DAY.fullmatch(text)
    if named and len(named[3]) == 2:
        return "two-digit year"
    return "time zone" if _WITH_ZONE.fullmatch(text) else None


def point_is_decimal(texts: pl.Series) -> bool:
    """Whether some value of a column can only be read with a decimal point, such as 7.5: then 1.234 is plain too."""
    return bool(texts.str.contains(_BY_POINT).any())


def _hours_text(text: str, style: Style) -> str:
    """Hours as decimal text from a clock, minutes or a fraction of a day; the text itself if it is none."""
    if style.hours_as == "hh:mm":
        found = _CLOCK.fullmatch(text)
        if not found:
            return _unreadable(text)
        hours = Decimal(int(found[2])) + Decimal(int(found[3])) / 60
        return f"{-hours if found[1] else hours:.{DECIMALS}f}"
    number = number_text(text, style, whole=False)
    if not _NUMBER.fullmatch(number):
        return number
    factor = Decimal(1) / 60 if style.hours_as == "minutes" else Decimal(24)
    exact = number_text(text, style, whole=False, places=12)
    return f"{(Decimal(exact) * factor).quantize(Decimal(1).scaleb(-DECIMALS), rounding=ROUND_HALF_EVEN):f}"


def _unreadable(text: str) -> str:
    """Text that no type accepts, for a value that breaks what the program file states of its column."""
    return f"{text} (unreadable)"


def year_last(text: str) -> tuple[int, int] | None:
    """First and second number of a date with the year last, whose order must be stated; None if it is no such date."""
    plain = tidy(text)
    found = _DAY_FIRST_OR_MONTH_FIRST.fullmatch(plain) or _SHORT_YEAR.fullmatch(plain)
    return (int(found[1]), int(found[3])) if found else None


def number_text(text: str, style: Style, *, whole: bool, places: int = DECIMALS) -> str:
    """The number as plain digits with a decimal point, or some text that is none."""
    plain = text.translate(_DASHES).replace(" ", "").lstrip("$€£").removesuffix("%")
    if found := _IN_BRACKETS.fullmatch(plain):
        plain = "-" + found[1].lstrip("$€£")
    elif plain.endswith("-") and plain[:1].isdigit():  # mainframes write the sign last
        plain = "-" + plain[:-1]
    if style.decimal_comma:
        if "." in plain and not _GROUPED_BY_POINTS.fullmatch(plain):
            return _unreadable(text)  # 7.5 where 7,5 is stated: not 75
        plain = plain.replace(".", "").replace(",", ".")
    elif style.delimiter != ";" and _GROUPED.fullmatch(plain):
        plain = plain.replace(",", "")
    if not _NUMBER.fullmatch(plain):
        return text
    if len(plain) > 40 or len(plain.partition(".")[0]) > WHOLE_DIGITS:
        return _unreadable(text)
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
