"""Rows of hours in the order in which they are kept: each row packed into one whole number, and the numbers sorted.

The order rests on content alone: person, slot, hours; rows that are equal in all three stand as the export has them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa

Whole = np.ndarray[Any, Any]  # whole numbers, one for each row or value
KEY_BITS = 64
_DENSE = 1 << 22  # values of hours that lie within so many ten-thousandths are found by their place, not by a search


@dataclass(frozen=True)
class Loose:
    """Rows as the store gives them, in any order.

    ``record`` counts from the first of the part, ``beyond`` is how many lines a row stands further below the first than
    records (0 without line ends in cells); ``person`` and ``slot`` are places among all ids and contents of slots,
    ``hours`` ten-thousandths.
    """

    record: Whole
    beyond: Whole
    person: Whole
    slot: Whole
    hours: Whole


@dataclass(frozen=True)
class Ordered:
    """Rows in order. ``person``, ``slot`` and ``hours`` of a row are places in ``people``, ``slots`` and ``amounts``.

    These hold what occurs, ascending: places among all ids and contents of slots, ten-thousandths of hours. ``beyond``
    is None where all are 0.
    """

    people: Whole
    slots: Whole
    amounts: Whole
    person: Whole
    slot: Whole
    hours: Whole
    record: Whole
    beyond: Whole | None

    def __len__(self) -> int:
        return len(self.record)

    def places(self, first: int, last: int, *, with_lines: bool) -> pa.Table:
        """Where rows from ``first`` up to before ``last`` stood: records, and lines, which may count alike."""
        record = self.record[first:last].astype(np.int64)
        if not with_lines:
            return pa.table({"record": record})
        return pa.table({"record": record, "line": record if self.beyond is None else record + self.beyond[first:last]})


def gathered(batches: Iterable[pa.RecordBatch], rows: int, first_record: int, first_line: int) -> Loose:
    """The columns record, line, person, slot and hours of exactly so many rows as plain arrays."""
    kinds = (np.int64, np.int32, np.int32, np.int32, np.int64)
    record, beyond, person, slot, hours = (np.empty(rows, dtype=kind) for kind in kinds)
    at = 0
    for batch in batches:
        here = slice(at, at + batch.num_rows)
        np.subtract(batch["record"].to_numpy(), first_record, out=record[here])
        beyond[here] = batch["line"].to_numpy() - first_line - record[here]
        person[here] = batch["person_place"].to_numpy()
        slot[here] = batch["slot_place"].to_numpy()
        hours[here] = ten_thousandths(batch["hours"])
        at += batch.num_rows
    if at != rows:
        raise AssertionError(f"{at} rows of {rows}")
    return Loose(record, beyond, person, slot, hours)


def ten_thousandths(hours: pa.Array) -> Whole:
    """Values of a column of ``decimal128(18, 4)`` without nulls as whole ten-thousandths.

    Arrow keeps such a value in two words of 64 bits; one of 18 digits fits the lower one.
    """
    words = np.frombuffer(hours.buffers()[1], dtype=np.int64)
    return words[2 * hours.offset : 2 * (hours.offset + len(hours)) : 2]


def in_order(rows: Loose, key_bits: int = KEY_BITS) -> Ordered:
    """The rows in order. ``key_bits``: a row that needs more is sorted column by column, to the same order."""
    people, person = ranked(rows.person)
    slots, slot = ranked(rows.slot)
    amounts, hours = ranked(rows.hours)
    tops = (len(people), len(slots), len(amounts), int(rows.record.max(initial=0)) + 1)
    widths = [int(top - 1).bit_length() for top in tops]
    if sum(widths) > key_bits:
        order = np.lexsort((rows.record, hours, slot, person))
        columns = [person[order], slot[order], hours[order], rows.record[order]]
    else:
        columns = _unpacked(_packed((person, slot, hours, rows.record), widths), widths)
    beyond = None
    if rows.beyond.any():
        by_record = np.argsort(rows.record)
        beyond = rows.beyond[by_record][np.searchsorted(rows.record, columns[3], sorter=by_record)]
    person, slot, hours, record = columns
    return Ordered(people, slots, amounts, person, slot, hours, record, beyond)


def ranked(values: Whole) -> tuple[Whole, Whole]:
    """The distinct values, ascending, and the place of each value among them."""
    if not len(values):
        return values, np.empty(0, dtype=np.int32)
    low = int(values.min())
    span = int(values.max()) - low + 1
    if span > max(_DENSE, 2 * len(values)):
        found, places = np.unique(values, return_inverse=True)
        return found, places.astype(np.int32)
    away = values - low
    held = np.zeros(span, dtype=bool)
    held[away] = True
    found = np.flatnonzero(held)
    rank = np.empty(span, dtype=np.int32)
    rank[found] = np.arange(len(found), dtype=np.int32)
    return found + low, rank[away]


def _packed(columns: Sequence[Whole], widths: Sequence[int]) -> Whole:
    """Rows as sorted numbers: the first column in the highest bits."""
    key = columns[0].astype(np.uint64)
    for column, width in zip(columns[1:], widths[1:], strict=True):
        key <<= np.uint64(width)
        key |= column.view(f"u{column.itemsize}")  # none is below 0
    key.sort()
    return key


def _unpacked(key: Whole, widths: Sequence[int]) -> list[Whole]:
    columns: list[Whole] = []
    for width in reversed(widths):
        column = np.empty(len(key), dtype=np.int32 if width < 32 else np.int64)
        np.bitwise_and(key, np.uint64((1 << width) - 1), out=column, casting="unsafe")
        columns.append(column)
        key >>= np.uint64(width)
    return columns[::-1]
