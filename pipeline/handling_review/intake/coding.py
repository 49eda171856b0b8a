"""Rows of hours as whole numbers: a person and what rows share stand once, and each row names them by number.

A hundred million rows hold some ten thousand people and some ten thousand combinations of unit, days, pay code, job and
source (slots). Numbered while a block is at hand as a dictionary of distinct texts, a row is five numbers, and no text
of it is ever packed, hashed or joined again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pyarrow as pa

from handling_review.intake.column import Judged
from handling_review.intake.contracts import Contract

ROW_COLUMNS = (
    ("record", "BIGINT"), ("line", "BIGINT"), ("person", "INTEGER"), ("slot", "INTEGER"), ("hours", "DECIMAL(18,4)"),
)  # fmt: skip
PEOPLE_COLUMNS = (("person", "INTEGER"), ("employee_id", "VARCHAR"))
ROW_SCHEMA = pa.schema(
    {
        "record": pa.int64(),
        "line": pa.int64(),
        "person": pa.int32(),
        "slot": pa.int32(),
        "hours": pa.decimal128(18, 4),
    }
)
Whole = np.ndarray[Any, Any]  # whole numbers, one for each row or value
PERSON, HOURS = "employee_id", "hours"
MOST_KNOWN = 2_000_000  # slots of a file that are recognised; beyond it the memory starts anew and one may come twice
LARGEST_KEY = 1 << 62  # of a key made of the places of several columns
_SPARSE = 4  # a table of keys may be so many times as long as the block


def slot_columns(contract: Contract) -> list[tuple[str, str]]:
    """Columns that rows share, with their types in the store: all but person and hours, and the file's number."""
    shared = [(f.name, f.duckdb_type) for f in contract.fields if f.name not in (PERSON, HOURS)]
    return [("slot", "INTEGER"), *shared, ("file_no", "INTEGER")]


class Numbers:
    """Numbers values from 1, each distinct one once, in the order in which they come; no value is 0."""

    def __init__(self) -> None:
        self.known: pl.DataFrame | None = None

    def of(self, values: pl.Series) -> Whole:
        """The number of each value."""
        asked = pl.DataFrame({"value": values})
        if self.known is None:
            self.known = asked.clear().with_columns(number=pl.lit(0, dtype=pl.Int32))
        new = (
            asked.unique(maintain_order=True)
            .drop_nulls()
            .join(self.known, on="value", how="anti", maintain_order="left")
        )
        if len(new):
            numbered = new.with_row_index("number", len(self.known) + 1).cast({"number": pl.Int32})
            self.known = pl.concat([self.known, numbered.select("value", "number")])
        found = asked.join(self.known, on="value", how="left", maintain_order="left").get_column("number")
        numbers: Whole = found.fill_null(0).to_numpy()
        return numbers


class _Column:
    """Numbers of one column's values, remembered by the place of their text in the column."""

    def __init__(self, numbers: Numbers) -> None:
        self._numbers = numbers
        self._at = np.empty(0, dtype=np.int32)  # -1: not asked for yet

    def of(self, column: Judged, where: Whole) -> Whole:
        """Numbers of the values at ``where`` in the block's dictionary; new ones in the order of ``where``."""
        places = column.verdict.get_column("place").to_numpy()
        if len(places) and places.max() >= len(self._at):
            more = int(places.max()) + 1 - len(self._at) + len(self._at) // 2
            self._at = np.concatenate([self._at, np.full(more, -1, dtype=np.int32)])
        numbers: Whole = self._at[places][where]
        if len(new := where[numbers < 0]):
            first = pl.Series(new).unique(maintain_order=True)
            values = column.verdict.get_column("value").gather(first)
            self._at[places[first.to_numpy()]] = self._numbers.of(values)
            numbers = self._at[places][where]
        return numbers


class RowCoder:
    """Numbers people from 1 and slots from 0, over all files of hours, in the order of the rows that bring them.

    A person is one employee id; 0 stands for hours without one. A slot is what rows of one file share.
    ``schema``: Arrow schema of a slot; ``spill``: a file for slots while they are collected, in a private folder.
    """

    def __init__(self, schema: pa.Schema, spill: Path) -> None:
        self.schema = schema
        self.persons = Numbers()
        self._spill = spill
        self._writer = pa.ipc.new_stream(str(spill), schema)
        self._slots = 0

    def carry_on(self, people: pl.DataFrame, slots: Iterable[pa.RecordBatch]) -> None:
        """Go on from numbers given before: ``people`` as value and number, from 1, and all slots in their order."""
        self.persons.known = people.select(pl.col("value").cast(pl.String), pl.col("number").cast(pl.Int32))
        for batch in slots:
            self._writer.write_table(pa.Table.from_batches([batch]).select(self.schema.names).cast(self.schema))
            self._slots += batch.num_rows

    def add_slots(self, found: pl.DataFrame, file_no: int) -> Whole:
        """Keep new slots, a row each, and return their numbers."""
        numbers = np.arange(self._slots, self._slots + len(found), dtype=np.int32)
        self._slots += len(found)
        found = found.with_columns(slot=pl.Series(numbers), file_no=pl.lit(file_no, dtype=pl.Int32))
        table = found.to_arrow(compat_level=pl.CompatLevel.oldest())
        arrays = [
            table.column(one.name).cast(one.type)
            if one.name in table.column_names
            else pa.chunked_array([pa.nulls(table.num_rows, one.type)])
            for one in self.schema
        ]
        self._writer.write_table(pa.Table.from_arrays(arrays, schema=self.schema))
        return numbers

    def people(self) -> pa.RecordBatchReader | None:
        """All people so far, in the columns of ``PEOPLE_COLUMNS``; None where there are none."""
        if self.persons.known is None:
            return None
        table: pa.Table = self.persons.known.select("number", "value").to_arrow(compat_level=pl.CompatLevel.oldest())
        return table.rename_columns([name for name, _ in PEOPLE_COLUMNS]).to_reader()

    def slots(self) -> pa.RecordBatchReader:
        """All slots, once: none can be added after this."""
        self._writer.close()
        return pa.ipc.open_stream(pa.memory_map(str(self._spill)))

    def close(self) -> None:
        """Let go of the file of slots, which is no longer needed."""
        self._writer.close()
        self._spill.unlink(missing_ok=True)


class FileCoder:
    """Codes the blocks of one file, which is the ``file_no``-th of hours."""

    def __init__(self, coder: RowCoder, file_no: int) -> None:
        self._coder = coder
        self._file_no = file_no
        self._shared = [name for name in coder.schema.names if name not in ("slot", "file_no")]
        self._person = _Column(coder.persons)
        self._columns = {name: _Column(Numbers()) for name in self._shared}
        self._known: dict[bytes, int] = {}  # slot by the numbers of its values

    def columns(self, judged: Mapping[str, Judged]) -> dict[str, pl.Series]:
        """What of a block must be known of each row until it is settled which of them are used."""
        rows = len(next(iter(judged.values())).where)
        found = {"row": pl.int_range(rows, dtype=pl.UInt32, eager=True), "slot": self._keys(judged, rows)}
        found[HOURS] = judged[HOURS].values()
        if PERSON in judged:
            found["person"] = judged[PERSON].where
        return found

    def coded(self, used: pl.DataFrame, judged: Mapping[str, Judged]) -> pl.DataFrame:
        """The used rows of the block, as ``columns`` gave them, in the columns of ``ROW_SCHEMA``."""
        person = np.zeros(len(used), dtype=np.int32)
        if PERSON in judged:
            person = self._person.of(judged[PERSON], used.get_column("person").to_numpy())
        slot = self._slots(used.get_column("slot").to_numpy(), used.get_column("row").to_numpy(), judged)
        return used.with_columns(pl.Series("person", person), pl.Series("slot", slot)).select(ROW_SCHEMA.names)

    def _keys(self, judged: Mapping[str, Judged], rows: int) -> pl.Series:
        """One whole number a row, equal where the texts of all shared columns are."""
        key, total = np.zeros(rows, dtype=np.int64), 1
        for name in self._shared:
            size = len(judged[name].verdict) if name in judged else 1
            if size < 2:
                continue
            if total * size > LARGEST_KEY:
                values, key = np.unique(key, return_inverse=True)
                total = len(values)
            key = key * size + judged[name].where.to_numpy()
            total *= size
        return pl.Series(key)

    def _slots(self, keys: Whole, rows: Whole, judged: Mapping[str, Judged]) -> Whole:
        first, which = distinct(keys)
        at = rows[first]
        shared = [name for name in self._shared if name in judged]
        local = {name: judged[name].where.to_numpy()[at] for name in shared}
        numbers = [self._columns[name].of(judged[name], local[name]) for name in shared]
        names = [row.tobytes() for row in np.ascontiguousarray(np.column_stack(numbers))]
        if len(self._known) + len(names) > MOST_KNOWN:
            self._known.clear()
        new = {name: place for place, name in reversed([*enumerate(names)]) if name not in self._known}
        if new:
            places = np.array(sorted(new.values()))
            found = {name: judged[name].verdict.get_column("value").gather(local[name][places]) for name in shared}
            slots = self._coder.add_slots(pl.DataFrame(found), self._file_no).tolist()
            self._known.update(zip((names[place] for place in places.tolist()), slots, strict=True))
        return np.array([self._known[name] for name in names], dtype=np.int32)[which]


def distinct(keys: Whole) -> tuple[Whole, Whole]:
    """First row of each distinct key, in the order of rows, and for each row which of these its key is."""
    if not len(keys):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    top = int(keys.max()) + 1
    if top > _SPARSE * len(keys) + 1_000:
        _, first, which = np.unique(keys, return_index=True, return_inverse=True)
        order = np.argsort(first)
        number = np.empty(len(order), dtype=np.int64)
        number[order] = np.arange(len(order))
        return first[order], number[which]
    at = np.full(top, -1, dtype=np.int64)
    at[keys[::-1]] = np.arange(len(keys) - 1, -1, -1)  # of equal keys the last written stands: the first row
    first = np.sort(at[at >= 0])
    number = np.empty(top, dtype=np.int64)
    number[keys[first]] = np.arange(len(first))
    return first, number[keys]
