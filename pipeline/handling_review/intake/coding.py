"""Rows of hours as whole numbers: a person and what rows share stand once, and each row names them by number.

A hundred million rows hold some ten thousand people and some ten thousand combinations of unit, days, pay code, job and
source (slots). Numbered while a block is at hand as a dictionary of distinct texts, a row is five numbers, and no text
of it is ever packed, hashed or joined again.
"""

from __future__ import annotations

from collections.abc import Mapping
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
PERSON, HOURS = "employee_id", "hours"
_MOST_KNOWN = 500_000  # slots of a file that are recognised; beyond it the memory starts anew and one may come twice
_LARGEST = 1 << 62  # of a key made of the places of several columns
_SPARSE = 4  # a table of keys may be so many times as long as the block


def slot_columns(contract: Contract) -> list[tuple[str, str]]:
    """Columns that rows share, with their types in the store: all but person and hours, and the file's number."""
    shared = [(f.name, f.duckdb_type) for f in contract.fields if f.name not in (PERSON, HOURS)]
    return [("slot", "INTEGER"), *shared, ("file_no", "INTEGER")]


class RowCoder:
    """Numbers people from 1 and slots from 0, over all files of hours, in the order in which they come.

    A person is one employee id. A slot is one way of writing what rows share: two spellings of one day make two.
    ``schema``: Arrow schema of a slot; ``spill``: a file for slots while they are collected, in a private folder.
    """

    def __init__(self, schema: pa.Schema, spill: Path) -> None:
        self.schema = schema
        self._spill = spill
        self._writer = pa.ipc.new_stream(str(spill), schema)
        self._people = pl.DataFrame(schema={"employee_id": pl.String, "person": pl.Int32})
        self._slots = 0

    def persons(self, ids: pl.Series) -> pl.Series:
        """Number of each of the ``ids`` (distinct text, none null), new ones after all others."""
        asked = pl.DataFrame({"employee_id": ids})
        new = asked.join(self._people, on="employee_id", how="anti", maintain_order="left")
        if len(new):
            numbered = new.with_row_index("person", len(self._people) + 1).cast({"person": pl.Int32})
            self._people = pl.concat([self._people, numbered.select("employee_id", "person")])
        return asked.join(self._people, on="employee_id", how="left", maintain_order="left").get_column("person")

    def add_slots(self, found: pl.DataFrame, file_no: int) -> np.ndarray[Any, Any]:
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

    def people(self) -> pa.RecordBatchReader:
        """All people so far, in the columns of ``PEOPLE_COLUMNS``."""
        table: pa.Table = self._people.select("person", "employee_id").to_arrow(compat_level=pl.CompatLevel.oldest())
        return table.to_reader()

    def slots(self) -> pa.RecordBatchReader:
        """All slots, once: none can be added after this."""
        self._writer.close()
        return pa.ipc.open_stream(pa.memory_map(str(self._spill)))

    def close(self) -> None:
        """Let go of the file of slots, which is no longer needed."""
        self._writer.close()
        self._spill.unlink(missing_ok=True)


class FileCoder:
    """Codes the blocks of one file; ``shared``: the columns that make a slot."""

    def __init__(self, coder: RowCoder, file_no: int) -> None:
        self._coder = coder
        self._file_no = file_no
        self._shared = [name for name in coder.schema.names if name not in ("slot", "file_no")]
        self._person_at = np.empty(0, dtype=np.int32)  # by the place of a text in its column; -1: not numbered yet
        self._known: dict[bytes, int] = {}  # slot by the places of its texts

    def columns(self, judged: Mapping[str, Judged]) -> dict[str, pl.Series]:
        """What of a block must be known of each row until it is settled which of them are used."""
        rows = len(next(iter(judged.values())).where)
        found = {"row": pl.int_range(rows, dtype=pl.UInt32, eager=True), "slot": self._keys(judged, rows)}
        if PERSON in judged:
            found["person"] = judged[PERSON].where
        if HOURS in judged:
            found[HOURS] = judged[HOURS].values()
        return found

    def coded(self, used: pl.DataFrame, judged: Mapping[str, Judged]) -> pl.DataFrame:
        """The used rows of the block, as ``columns`` gave them, in the columns of ``ROW_SCHEMA``."""
        person = pl.zeros(len(used), dtype=pl.Int32, eager=True)
        if PERSON in judged:
            person = self._persons(used.get_column("person"), judged[PERSON])
        slot = self._slots(used.get_column("slot"), used.get_column("row"), judged)
        hours = [] if HOURS in used.columns else [pl.lit(None, dtype=pl.Decimal(18, 4)).alias(HOURS)]
        return used.with_columns(person.alias("person"), slot.alias("slot"), *hours).select(ROW_SCHEMA.names)

    def _keys(self, judged: Mapping[str, Judged], rows: int) -> pl.Series:
        """One whole number a row, equal where the texts of all shared columns are."""
        key, total = np.zeros(rows, dtype=np.int64), 1
        for name in self._shared:
            size = len(judged[name].verdict) if name in judged else 1
            if size < 2:
                continue
            if total * size > _LARGEST:
                distinct, key = np.unique(key, return_inverse=True)
                total = len(distinct)
            key = key * size + judged[name].where.to_numpy()
            total *= size
        return pl.Series(key)

    def _persons(self, where: pl.Series, column: Judged) -> pl.Series:
        verdict = column.verdict
        places = verdict.get_column("place").to_numpy()
        if len(places) and places.max() >= len(self._person_at):
            more = np.full(int(places.max()) + 1 - len(self._person_at) + len(self._person_at) // 2, -1, dtype=np.int32)
            self._person_at = np.concatenate([self._person_at, more])
        is_used = np.zeros(len(verdict), dtype=bool)
        is_used[where.to_numpy()] = True
        new = np.flatnonzero(is_used & (self._person_at[places] < 0))
        if len(new):
            ids = verdict.get_column("value").gather(new)
            given = ids.drop_nulls().unique(maintain_order=True)
            numbers = pl.DataFrame({"id": given, "person": self._coder.persons(given)})
            found = pl.DataFrame({"id": ids}).join(numbers, on="id", how="left", maintain_order="left")
            self._person_at[places[new]] = found.get_column("person").fill_null(0).to_numpy()
        return pl.Series(self._person_at[places][where.to_numpy()])

    def _slots(self, keys: pl.Series, rows: pl.Series, judged: Mapping[str, Judged]) -> pl.Series:
        first, which = _distinct(keys.to_numpy())
        at = rows.to_numpy()[first]
        columns = [judged[name] for name in self._shared if name in judged]
        local = [column.where.to_numpy()[at] for column in columns]
        places = [
            column.verdict.get_column("place").to_numpy()[here] for column, here in zip(columns, local, strict=True)
        ]
        marks = np.ascontiguousarray(np.column_stack(places) if places else np.zeros((len(at), 1), dtype=np.uint32))
        names = [row.tobytes() for row in marks]
        new = np.array([place for place, name in enumerate(names) if name not in self._known], dtype=np.int64)
        if len(new):
            if len(self._known) + len(new) > _MOST_KNOWN:
                self._known.clear()
                new = np.arange(len(names))
            shared = [name for name in self._shared if name in judged]
            found = pl.DataFrame(
                {
                    name: column.verdict.get_column("value").gather(here[new])
                    for name, column, here in zip(shared, columns, local, strict=True)
                },
            )
            numbers = self._coder.add_slots(found, self._file_no).tolist()
            self._known.update(zip((names[place] for place in new.tolist()), numbers, strict=True))
        return pl.Series(np.array([self._known[name] for name in names], dtype=np.int32)[which])


def _distinct(keys: np.ndarray[Any, Any]) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """First row of each distinct key, and for each row which of these its key is."""
    if not len(keys):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    top = int(keys.max()) + 1
    if top > _SPARSE * len(keys) + 1_000:
        _, first, which = np.unique(keys, return_index=True, return_inverse=True)
        return first, which
    at = np.full(top, -1, dtype=np.int64)
    at[keys[::-1]] = np.arange(len(keys) - 1, -1, -1)  # of equal keys the last written stands: the first row
    present = np.flatnonzero(at >= 0)
    number = np.empty(top, dtype=np.int64)
    number[present] = np.arange(len(present))
    return at[present], number[keys]
