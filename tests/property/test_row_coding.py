"""Hours are kept as numbers of people and slots. Decoded, they must be the rows that the reader gives without numbers.

Held against the reader itself, whose rows are plain values: made-up files with ids, units, days and codes written in
several ways, read in blocks of any size, in two files, with the memory for slots nearly gone, and with columns so many
that their places make no single key.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from handling_review.intake import coding
from handling_review.intake import reading as reading_module
from handling_review.intake.coding import FileCoder
from handling_review.intake.contracts import contract
from handling_review.intake.dialect import examine
from handling_review.intake.hours_rows import PLAIN, ROW_TABLES, code_plain_rows, create_hours, row_coder
from handling_review.intake.reading import FileReader
from handling_review.intake.values import Style
from handling_review.store.database import Store

HEADER = "employee_id,unit,period_start,period_end,work_date,hours,role,pay_code,source"
COLUMNS = [name for name, _ in ROW_TABLES["hours_slots"] if name not in ("slot", "file_no")]


def line(draw: random.Random) -> str:
    start = draw.choice(["2025-01-05", "2025-01-19", " 2025-01-19 ", "", "2025-02-02"])
    cells = [
        draw.choice(["E1", "E2", " E2", "e3", "", "n/a", "E4", "E5"]),
        draw.choice(["North", "North ", "South", "", "East"]),
        start, "2025-02-10" if start else "", draw.choice(["", "2025-01-20", "2025-13-01"]),
        draw.choice(["8", "8.0", "7.25", "none at all", "12"]),
        draw.choice(["", "Aide", "aide", "Nurse"]), draw.choice(["REG", "", "OT"]),
        draw.choice(["payroll", "agency", ""]),
    ]  # fmt: skip
    return ",".join(cells)


def written(folder: Path, seed: int) -> list[Path]:
    draw = random.Random(seed)
    paths = []
    for number in (1, 2):
        path = folder / f"hours-{number}.csv"
        rows = [HEADER, *(line(draw) for _ in range(draw.randint(1, 400)))]
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
        paths.append(path)
    return paths


def plain(paths: list[Path]) -> list[tuple[Any, ...]]:
    """Rows as the reader gives them without a coder, each with the number of its file."""
    found = []
    for number, path in enumerate(paths, start=1):
        for batch in FileReader(examine(path, contract("hours"), {}), contract("hours"), Style()).batches():
            found += [(*row.values(), number) for row in batch.to_pylist()]
    return found


def coded(store: Store, paths: list[Path]) -> None:
    create_hours(store)
    with row_coder(store) as coder:
        for number, path in enumerate(paths, start=1):
            reader = FileReader(
                examine(path, contract("hours"), {}), contract("hours"), Style(), coder=FileCoder(coder, number)
            )
            batches = pa.RecordBatchReader.from_batches(reader.schema, reader.batches())
            store.load("hours_rows", ROW_TABLES["hours_rows"], batches)


def tables(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    return {name: store.fetch(f"SELECT * FROM raw_{name}") for name in ROW_TABLES}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "coded.duckdb", tmp_path / "spill") as one:
        yield one


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("limit", [None, "one block a few rows", "no memory for slots", "no single key"])
def test_numbers_stand_for_the_rows_that_the_reader_gives(
    store: Store, tmp_path: Path, seed: int, limit: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    if limit == "one block a few rows":
        monkeypatch.setattr(reading_module, "BLOCK_BYTES", 600)
    if limit == "no memory for slots":
        monkeypatch.setattr(reading_module, "BLOCK_BYTES", 600)
        monkeypatch.setattr(coding, "MOST_KNOWN", 5)
    if limit == "no single key":
        monkeypatch.setattr(coding, "LARGEST_KEY", 20)
    paths = written(tmp_path, seed)
    coded(store, paths)
    rows = store.fetch("SELECT * FROM raw_hours ORDER BY file_no, record")
    assert rows == plain(paths)
    named = tables(store)
    people = [employee_id for _, employee_id in named["hours_people"]]
    assert len(set(people)) == len(people)
    assert {row[0] for row in rows} - {None} == set(people), "an id that no used row holds"
    slots = [row[1:] for row in named["hours_slots"]]
    assert {row[3] for row in named["hours_rows"]} == set(range(len(slots)))
    if limit != "no memory for slots":
        assert len(set(slots)) == len(slots), "two slots of one content"


@pytest.mark.parametrize("seed", range(5))
def test_rows_of_kept_chunks_get_the_numbers_that_reading_gave_them(store: Store, tmp_path: Path, seed: int) -> None:
    paths = written(tmp_path, seed)
    coded(store, paths)
    with Store(tmp_path / "again.duckdb", tmp_path / "spill-again") as again:
        again.create(PLAIN, store_columns())
        fields = [pa.field(name, reading_module.ARROW_TYPES[kind]) for name, kind in kinds().items()]
        places = [pa.field("record", pa.int64()), pa.field("line", pa.int64()), pa.field("file_no", pa.int32())]
        schema = pa.schema([*fields, *places])
        found = [dict(zip(schema.names, row, strict=True)) for row in plain(paths)]
        again.append(PLAIN, pa.Table.from_pylist(found, schema=schema).to_reader())
        code_plain_rows(again)
        assert tables(again) == tables(store)


def kinds() -> dict[str, str]:
    return {field.name: field.type for field in contract("hours").fields}


def store_columns() -> list[tuple[str, str]]:
    own = [(field.name, field.duckdb_type) for field in contract("hours").fields]
    return [*own, ("record", "BIGINT"), ("line", "BIGINT"), ("file_no", "INTEGER")]


@pytest.mark.parametrize("top", [3, 10_000_000])
def test_distinct_keys_come_in_the_order_of_their_first_rows(top: int) -> None:
    keys = np.random.default_rng(8).integers(0, top, 500)
    first, which = coding.distinct(keys)
    assert [int(keys[row]) for row in first] == list(dict.fromkeys(keys.tolist()))
    assert (keys[first][which] == keys).all()
    nothing, nobody = coding.distinct(keys[:0])
    assert len(nothing) == len(nobody) == 0


def test_the_view_shows_the_columns_of_the_contract(store: Store) -> None:
    create_hours(store)
    shown = [row[0] for row in store.fetch("DESCRIBE raw_hours")]
    assert shown == [name for name, _ in store_columns()]
    assert set(COLUMNS) == set(shown) - {"employee_id", "hours", "record", "line", "file_no"}


def test_no_row_gives_no_person_and_no_slot(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "hours.csv"
    path.write_text(HEADER + "\n\n", encoding="utf-8")
    coded(store, [path])
    assert tables(store) == {name: [] for name in ROW_TABLES}
