"""Reading alone, in one of two ways: pandera on every row in chunks, or on distinct values; prints rows and bad cells.

    python tests/bench/scale_reading.py chunks FOLDER
    python tests/bench/scale_reading.py distinct FOLDER

``scale.py`` runs both on one damaged file. They must find the same rows and the same bad cells.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections import Counter
from pathlib import Path

import polars as pl
import pyarrow as pa
import pyarrow.csv as pa_csv
from pandera.errors import SchemaErrors

from handling_review.intake.coding import FileCoder
from handling_review.intake.contracts import contract
from handling_review.intake.dialect import examine
from handling_review.intake.hours_rows import row_coder
from handling_review.intake.judge import RULES, file_schema
from handling_review.intake.reading import FileReader
from handling_review.intake.values import Style
from handling_review.store.database import Store

CHUNK_ROWS = 500_000


def in_chunks(path: Path) -> dict[str, object]:
    """The contract on every row, half a million at a time. The file is plain: no quotes, no blank line, ISO days."""
    hours = contract("hours")
    schema = file_schema(hours)
    cells: Counter[str] = Counter()
    rows = 0
    header = path.open(encoding="utf-8").readline().strip().split(",")
    kinds = pa_csv.ConvertOptions(column_types=dict.fromkeys(header, pa.string()), strings_can_be_null=False)
    for batch in pa_csv.open_csv(path, pa_csv.ReadOptions(block_size=16 << 20), convert_options=kinds):
        frame = pl.DataFrame(pl.from_arrow(batch)).with_columns(pl.all().replace("", None))
        frame = frame.with_columns(pl.lit(None, pl.String).alias(n) for n in hours.names if n not in frame.columns)
        rows += len(frame)
        for part in frame.iter_slices(CHUNK_ROWS):
            try:
                schema.validate(part, lazy=True)
            except SchemaErrors as errors:
                order = {rule: place for place, rule in enumerate(RULES)}
                first = (
                    errors.failure_cases.filter(pl.col("check").is_in(RULES))
                    .with_columns(place=pl.col("check").replace_strict(order, return_dtype=pl.Int32))
                    .group_by("column", "index")
                    .agg(pl.col("check").sort_by("place").first())
                )
                cells.update(f"{column}: {rule}" for column, _, rule in first.iter_rows())
    return {"rows": rows, "cells": dict(sorted(cells.items()))}


def by_distinct_value(path: Path) -> dict[str, object]:
    """The way of the product: distinct texts of a block judged once, rows numbered, nothing stored."""
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "a.duckdb", Path(folder) / "spill") as store:
        store.load("hours_people", [("person", "INTEGER"), ("employee_id", "VARCHAR")], None)
        with row_coder(store) as coder:
            reader = FileReader(
                examine(path, contract("hours"), {}), contract("hours"), Style(), coder=FileCoder(coder, 1)
            )
            for _ in reader.batches():
                pass
    cells = {f"{column}: {rule}": count for (column, rule), count in sorted(reader.tally.cells.items())}
    return {"rows": reader.tally.rows_in, "cells": cells}


if __name__ == "__main__":
    way, folder = sys.argv[1:]
    read = {"chunks": in_chunks, "distinct": by_distinct_value}[way]
    print(json.dumps(read(Path(folder) / "hours.csv")))
