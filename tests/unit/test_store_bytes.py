"""A database of many rows has the same bytes however many threads the store may use: blocks are given out in order."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from handling_review import files
from handling_review.store.database import Store

SQL = (
    "CREATE TABLE many AS SELECT range AS i, hash(range) AS one, hash(range, 2) AS two FROM range(1500000) ORDER BY one"
)


def written(folder: Path, threads: int) -> bytes:
    folder.mkdir()
    with Store(folder / "one.duckdb", folder / "spill", threads=threads) as store:
        store.run("out_many")
        store.checkpoint()
    return (folder / "one.duckdb").read_bytes()


def test_threads_leave_no_trace_in_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "read_text", lambda *_: SQL)
    found = [written(tmp_path / str(number), threads) for number, threads in enumerate((1, 4, 4, 4))]
    assert len(found[0]) > 10_000_000
    assert all(one == found[0] for one in found[1:])


@pytest.mark.parametrize("size", [1, 700, 2_048, 5_000, 300_000])
def test_how_a_stream_was_cut_leaves_no_trace_in_the_file(size: int, tmp_path: Path) -> None:
    """Also that every row arrives, in order."""
    rows = 300_000 if size >= 700 else 5_000
    numbers = (np.arange(rows, dtype=np.int64) * 2_654_435_761) % 1_000_003
    table = pa.table({"i": np.arange(rows), "n": numbers})
    found = []
    for name, cut in (("whole", rows), ("cut", size)):
        (tmp_path / name).mkdir()
        with Store(tmp_path / name / "one.duckdb", tmp_path / name / "spill") as store:
            batches = table.to_batches(max_chunksize=cut)
            stream = pa.RecordBatchReader.from_batches(table.schema, batches)
            store.load("many", [("i", "BIGINT"), ("n", "BIGINT")], stream)
            store.checkpoint()
            back = store.table("SELECT i, n FROM raw_many ORDER BY rowid")
            assert back.to_pydict() == table.to_pydict()
        found.append((tmp_path / name / "one.duckdb").read_bytes())
    assert found[0] == found[1]
