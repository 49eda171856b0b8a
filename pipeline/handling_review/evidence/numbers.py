"""Published numbers: each with a key, a unit and the one form in which it is shown."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from typing import Any
from urllib.parse import quote

RATE_UNIT = "cases per 200,000 hours"
BOUNDLESS_RATIO = 1000.0


@dataclass(frozen=True)
class Number:
    """One published number.

    ``value`` is ``None`` where the quantity is not defined and ``inf`` where a limit has no end; ``shown``
    is the text that stands everywhere the number is printed.
    """

    key: str
    value: float | None
    unit: str
    shown: str

    def __str__(self) -> str:
        """The number as it is shown."""
        return self.shown


def key_part(name: str) -> str:
    """A unit's code as one part of a key: percent-encoded, so that no two codes share a key."""
    return quote(name, safe="")


def _fixed(value: float, decimals: int) -> str:
    """Fixed decimals with thousands separators, a true minus sign and no negative zero."""
    text = f"{abs(value):,.{decimals}f}"
    is_zero = not any(digit in text for digit in "123456789")
    return text if value >= 0 or is_zero else f"−{text}"


def _measure(key: str, value: float | None, unit: str, decimals: int) -> Number:
    if value is None or math.isnan(value):
        return Number(key, None, unit, "not defined")
    if math.isinf(value):
        return Number(key, value, unit, "no limit")
    return Number(key, value, unit, _fixed(value, decimals))


def count(key: str, value: int, unit: str = "cases") -> Number:
    """A whole count of cases, people, rows or days."""
    return Number(key, int(value), unit, _fixed(int(value), 0))


def hours(key: str, value: float) -> Number:
    """Hours worked, shown to the whole hour."""
    return _measure(key, value, "hours", 0)


def rate(key: str, value: float) -> Number:
    """Cases per 200,000 hours, one decimal."""
    return _measure(key, value, RATE_UNIT, 1)


def difference(key: str, value: float) -> Number:
    """Difference of two rates per 200,000 hours, one decimal."""
    return _measure(key, value, RATE_UNIT, 1)


def ratio(key: str, value: float | None) -> Number:
    """Ratio of two rates, two decimals; not defined when both counts are zero.

    The limit of a model of next to no cases can have hundreds of digits: over a thousand is shown as just that.
    """
    number = _measure(key, value, "ratio", 2)
    if number.value is None or not BOUNDLESS_RATIO < number.value < math.inf:
        return number
    return Number(key, value, "ratio", f"over {_fixed(BOUNDLESS_RATIO, 0)}")


def cases_avoided(key: str, value: float) -> Number:
    """Estimated cases, one decimal below ten and whole from ten on."""
    return _measure(key, value, "cases", 1 if abs(value) < 10 else 0)


def share(key: str, value: float) -> Number:
    """A share between 0 and 1, shown as a whole percentage."""
    number = _measure(key, value, "share", 2)
    return number if number.value is None else Number(key, value, "share", f"{_fixed(100 * value, 0)}%")


def chance(key: str, value: float) -> Number:
    """A probability as a whole percentage, never as nought or as all: "under 1%", "over 99%"."""
    number = share(key, value)
    text = "under 1%" if value < 0.005 else "over 99%" if value >= 0.995 else number.shown
    return number if number.value is None else Number(key, value, number.unit, text)


def fine_share(key: str, value: float) -> Number:
    """A share that is stated, as a percentage with the decimals that it was given."""
    return Number(key, float(value), "share", f"{100 * value:g}%")


def plain(key: str, value: float, unit: str) -> Number:
    """A figure that is stated, with the decimals that it was given."""
    return Number(key, float(value), unit, f"{value:,.5f}".rstrip("0").rstrip("."))


def years(key: str, value: float) -> Number:
    """A length of time in years, one decimal."""
    return _measure(key, value, "years", 1)


def days_rate(key: str, value: float) -> Number:
    """Days per 200,000 hours, whole from ten on: more digits than that would claim too much."""
    return _measure(key, value, "days per 200,000 hours", 0 if value >= 10 else 1)


def decimal(key: str, value: float, unit: str) -> Number:
    """A figure of its own unit with one decimal."""
    return _measure(key, value, unit, 1)


def few(key: str, value: int, fewest: int, unit: str = "cases") -> Number:
    """A count that is not shown where it is above nought and below ``fewest``: it could point at single persons."""
    if 0 < value < fewest:
        return Number(key, None, unit, f"fewer than {fewest}")
    return count(key, value, unit)


def days(key: str, value: float) -> Number:
    """Calendar days, to the whole day; a centre or limit below ten to one decimal."""
    return _measure(key, value, "days", 0 if value >= 10 or float(value).is_integer() else 1)


def p_value(key: str, value: float) -> Number:
    """A two-sided p-value, two decimals; below 0.01 three, and never nought."""
    if value < 0.001:
        return Number(key, float(value), "p-value", "under 0.001")
    return _measure(key, value, "p-value", 3 if value < 0.01 else 2)


def quantity(key: str, value: float, unit: str) -> Number:
    """An amount of work other than hours (patient days, transfers), to the whole."""
    return _measure(key, value, unit, 0)


def money(key: str, value: float, currency: str) -> Number:
    """An amount of money to two significant figures; more would claim too much. Below 100 to the whole."""
    number = _measure(key, value, currency, 0)
    if number.value is None or math.isinf(number.value):
        return number
    size = abs(value)
    digits = 0 if size < 100 else 1 - math.floor(math.log10(size))
    rounded = round(value, digits)
    return Number(key, value, currency, f"{currency} {_fixed(rounded, 0)}")


def change(key: str, then: Number, now: Number) -> Number | None:
    """By how much a number moved, signed, in the decimals that it is shown with; shares in percentage points.

    None where one of the two is not defined or has no end.
    """
    if then.value is None or now.value is None or math.isinf(then.value) or math.isinf(now.value):
        return None
    moved = now.value - then.value
    is_share = now.unit == "share"
    decimals = len(now.shown.partition(".")[2]) if not is_share else 1
    text = _fixed(100 * moved if is_share else moved, decimals)
    signed = text if moved < 0 else f"+{text}"
    return Number(key, moved, now.unit, f"{signed} points" if is_share else signed)


def numbers_in(thing: Any) -> Iterator[Number]:
    """Every ``Number`` inside nested result objects, in the order of their fields."""
    if isinstance(thing, Number):
        yield thing
    elif is_dataclass(thing) and not isinstance(thing, type):
        for field in fields(thing):
            yield from numbers_in(getattr(thing, field.name))
    elif isinstance(thing, tuple):
        for part in thing:
            yield from numbers_in(part)


def published(*things: Any) -> tuple[Number, ...]:
    """The flat list of published numbers, each key once.

    Raises ``ValueError`` when one key stands for two different numbers: the page would contradict itself.
    """
    found: dict[str, Number] = {}
    for number in numbers_in(tuple(things)):
        if found.setdefault(number.key, number) != number:
            raise ValueError(f"two numbers share the key {number.key}")
    return tuple(found.values())
