"""The tables of the store that hold hours: rows as numbers, the people and the slots that they name."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pyarrow as pa

from handling_review.intake.coding import PEOPLE_COLUMNS, ROW_COLUMNS, RowCoder, slot_columns
from handling_review.intake.contracts import contract
from handling_review.intake.reading import ARROW_TYPES
from handling_review.store.database import Store

ROW_TABLES = {  # each stands in the store as raw_<name>, and the view raw_hours joins them
    "hours_rows": list(ROW_COLUMNS),
    "hours_people": list(PEOPLE_COLUMNS),
    "hours_slots": slot_columns(contract("hours")),
}
PLAIN = "plain_hours"  # rows in the columns of raw_hours, as kept chunks give them back


def create_hours(store: Store) -> None:
    """Create the empty tables and the view ``raw_hours``, which shows the rows in the columns of the contract."""
    for name, columns in ROW_TABLES.items():
        store.load(name, columns, None)
    store.run("raw_hours")


@contextmanager
def row_coder(store: Store) -> Iterator[RowCoder]:
    """A coder for all files of hours; its people and slots are in the store when the block has ended well."""
    types = {f.name: ARROW_TYPES[f.type] for f in contract("hours").fields}
    fields = [pa.field(name, types.get(name, pa.int32())) for name, _ in ROW_TABLES["hours_slots"]]
    coder = RowCoder(pa.schema(fields), store.temporary / "slots.arrow")
    try:
        yield coder
        store.load("hours_people", ROW_TABLES["hours_people"], coder.people())
        store.load("hours_slots", ROW_TABLES["hours_slots"], coder.slots())
    finally:
        coder.close()


def code_plain_rows(store: Store) -> None:
    """Fill the tables from the table ``plain_hours`` of the store, and drop that."""
    create_hours(store)
    for name in ("hours_people", "hours_slots", "hours_rows"):
        store.run(f"raw_{name}")
    store.execute(f"DROP TABLE {PLAIN}")


def see_hours(store: Store) -> None:
    """The tables of the store's source, and the view on them."""
    for name in ROW_TABLES:
        store.see(f"raw_{name}")
    store.run("raw_hours")
