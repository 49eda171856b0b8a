"""Kept hours are put in order as packed numbers: the order is that of a plain sort, however rows come and are cut."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handling_review.history import chunks, hour_chunks
from handling_review.history.hour_order import KEY_BITS, Loose, in_order, ranked, ten_thousandths
from handling_review.history.hour_pieces import Part, Piece, pieces_of
from handling_review.intake.hours_rows import PLAIN, code_plain_rows
from handling_review.store.database import Store

ROWS = st.lists(
    st.tuples(
        st.integers(0, 4), st.integers(10, 14), st.sampled_from([-80_000, 0, 75_000, 80_000, 10**13]), st.integers(0, 3)
    ),
    min_size=1,
    max_size=30,
)
COLUMNS = [*chunks.columns("hours"), *chunks.PLACE, ("file_no", "INTEGER")]


@given(ROWS, st.permutations(range(30)), st.sampled_from([KEY_BITS, 0]))
def test_the_order_is_that_of_a_plain_sort(
    rows: list[tuple[int, int, int, int]], mixed: list[int], key_bits: int
) -> None:
    """``sorted`` of Python is the reference; with no bits for a key the columns are sorted one by one."""
    told = [(person, slot, hours, record, beyond) for record, (person, slot, hours, beyond) in enumerate(rows)]
    came = [told[place] for place in mixed if place < len(told)]
    person, slot, hours, record, beyond = (np.array(column, dtype=np.int64) for column in zip(*came, strict=True))
    small = [column.astype(np.int32) for column in (beyond, person, slot)]
    found = in_order(Loose(record, *small, hours), key_bits)
    lines = np.zeros(len(found), dtype=np.int64) if found.beyond is None else found.beyond
    back = zip(
        found.people[found.person].tolist(),
        found.slots[found.slot].tolist(),
        found.amounts[found.hours].tolist(),
        found.record.tolist(),
        lines.tolist(),
        strict=True,
    )
    assert list(back) == sorted(told)
    assert (found.beyond is None) == (not any(beyond))


@pytest.mark.parametrize("values", [[5, -3, 5, 0], [1 << 40, -(1 << 40), 1 << 40], [7], []])
def test_places_among_distinct_values(values: list[int]) -> None:
    found, places = ranked(np.array(values, dtype=np.int64))
    assert found.tolist() == sorted(set(values))
    assert found[places].tolist() == values


def test_decimals_are_read_from_their_words() -> None:
    amounts = ["-99999999999999.9999", "0", "7.5", "-0.0001", "99999999999999.9999"]
    column = pa.array([Decimal(amount) for amount in amounts], pa.decimal128(18, 4))
    found = ten_thousandths(column.slice(1))
    assert found.tolist() == [int(Decimal(amount) * 10_000) for amount in amounts[1:]]
    assert hour_chunks.decimals(found).equals(column.slice(1))


def plain_rows(order: list[int], first: int = 1) -> str:
    """A facility of 3 people and hours without one, 60 rows in two quarters, as rows of a query in the given order."""
    return " UNION ALL ".join(
        "SELECT "
        + ", ".join(
            [
                f"{['NULL', repr('007'), repr('Ä'), repr('9')][place % 4]} AS employee_id",
                f"'{'NS'[place % 3 % 2]}' AS unit",
                f"DATE '2025-03-20' + {place % 25} AS period_start",
                f"DATE '2025-03-20' + {place % 25} AS period_end",
                "NULL::DATE AS work_date",
                f"{place % 5 - 1}.25::DECIMAL(18, 4) AS hours",
                f"{'NULL' if place % 2 else repr('aide')} AS role",
                "NULL::VARCHAR AS pay_code",
                "NULL::VARCHAR AS source",
                f"{first + number}::BIGINT AS record",
                f"{first + number + number // 7}::BIGINT AS line",
                "1 AS file_no",
            ]
        )
        for number, place in enumerate(order)
    )


def kept(folder: Path, rows: str, sources: tuple[Path, ...] = ()) -> tuple[chunks.Chunk, ...]:
    """Chunks of a store with these rows, in ``folder / snapshots``."""
    folder.mkdir()
    with Store(folder / "review.duckdb", folder / "spill") as store:
        store.create(PLAIN, COLUMNS)
        store.execute(f"INSERT INTO {PLAIN} {rows}")
        code_plain_rows(store)
        return hour_chunks.keep(store, folder / "snapshots", sources)


def back(folder: Path, kept: tuple[chunks.Chunk, ...]) -> list[tuple[Any, ...]]:
    """All rows of the chunks, as they stood in the export."""
    with Store(folder / "back.duckdb", folder / "spill") as store:
        chunks.load(store, "hours", kept, folder / "snapshots", "found")
        return store.fetch("SELECT * FROM found ORDER BY record")


def test_rows_come_back_as_they_were(tmp_path: Path) -> None:
    rows = plain_rows(list(range(60)))
    found = kept(tmp_path / "one", rows)
    assert [(chunk.part, chunk.rows) for chunk in found] == [("2025-Q1", 34), ("2025-Q2", 26)]
    assert back(tmp_path / "one", found) == duckdb.sql(f"SELECT * FROM ({rows}) ORDER BY record").fetchall()


def test_the_name_hangs_on_rows_and_not_on_their_order_or_place(tmp_path: Path) -> None:
    found = kept(tmp_path / "one", plain_rows(list(range(60))))
    mixed = kept(tmp_path / "mixed", plain_rows(list(range(59, -1, -1))), (tmp_path / "one" / "snapshots",))
    moved = kept(tmp_path / "moved", plain_rows(list(range(60)), first=1001))
    other = kept(tmp_path / "other", plain_rows([*range(59), 58]))
    assert [chunk.content for chunk in mixed] == [chunk.content for chunk in found]
    assert not {chunk.places for chunk in mixed} & {chunk.places for chunk in found}
    assert [chunk.names for chunk in moved] == [chunk.names for chunk in found]
    assert {chunk.content for chunk in other} != {chunk.content for chunk in found}
    shared = tmp_path / "mixed" / "snapshots" / f"{found[0].content}.parquet"
    assert shared.samefile(tmp_path / "one" / "snapshots" / shared.name)


def test_a_part_in_pieces_holds_the_same_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = plain_rows(list(range(60)))
    monkeypatch.setattr(hour_chunks, "pieces_of", lambda store, part: pieces_of(store, part, 4))
    found = kept(tmp_path / "one", rows)
    again = kept(tmp_path / "two", rows, (tmp_path / "one" / "snapshots",))
    assert again == found
    assert back(tmp_path / "one", found) == duckdb.sql(f"SELECT * FROM ({rows}) ORDER BY record").fetchall()
    for folder in ("one", "two"):
        names = {path.name for path in (tmp_path / folder / "snapshots").iterdir()}
        assert names == {name for chunk in found for name, _ in chunk.names}


def test_pieces_with_and_without_line_ends_in_cells_make_one_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only the rows of the last person stand below lines that are no rows, so only their piece needs lines."""
    rows = plain_rows([place for first in (0, 3, 2, 1) for place in range(first, 60, 4)])
    monkeypatch.setattr(hour_chunks, "pieces_of", lambda store, part: pieces_of(store, part, 9))
    found = kept(tmp_path / "one", f"SELECT * REPLACE (record + CAST(record > 45 AS BIGINT) AS line) FROM ({rows})")
    lines = [row[-2] for row in back(tmp_path / "one", found)]
    assert lines == [*range(1, 46), *range(47, 62)]


def test_pieces_are_ranges_of_people_or_of_slots_of_one_person(tmp_path: Path) -> None:
    with Store(tmp_path / "review.duckdb", tmp_path / "spill") as store:
        store.create(PLAIN, COLUMNS)
        store.execute(f"INSERT INTO {PLAIN} {plain_rows(list(range(60)))}")
        code_plain_rows(store)
        store.run("work_kept_people")
        store.run("work_kept_slots")
        part = Part(1, 2025 * 4, 34, 1, 1)
        assert pieces_of(store, part, 34) == [Piece(34)]
        by_person = pieces_of(store, part, 20)
        assert [piece.people for piece in by_person] == [(0, 1), (2, 3)]
        small = pieces_of(store, part, 4)
        assert sum(piece.rows for piece in small) == 34
        assert max(piece.rows for piece in small) <= 4
        assert [piece.people for piece in small] == sorted(piece.people for piece in small)


def test_the_chunks_of_known_files_are_taken_without_a_look_at_their_rows(tmp_path: Path) -> None:
    rows = plain_rows(list(range(60)))
    found = kept(tmp_path / "one", rows)
    folder = tmp_path / "two"
    folder.mkdir()
    for known, expected in ((found, found), ((), ())):  # the store of the second build has no rows at all
        with Store(folder / "review.duckdb", folder / "spill") as store:
            store.create(PLAIN, COLUMNS)
            code_plain_rows(store)
            assert hour_chunks.keep(store, folder / "snapshots", (tmp_path / "one" / "snapshots",), known) == expected
        (folder / "review.duckdb").unlink()
    assert back(folder, found) == back(tmp_path / "one", found)
