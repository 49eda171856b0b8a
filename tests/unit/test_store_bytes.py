"""A database of many rows has the same bytes however many threads the store may use: blocks are given out in order."""

from __future__ import annotations

from pathlib import Path

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
