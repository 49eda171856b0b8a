"""Work beside other work: its result and its errors come where they are asked for, and a failing block ends it."""

from __future__ import annotations

import threading
from pathlib import Path

import duckdb
import pytest

from handling_review.beside import beside
from handling_review.store.database import Store


def never() -> None:
    raise AssertionError("nobody failed")


def test_the_result_is_waited_for() -> None:
    go = threading.Event()

    def work() -> str:
        go.wait(10)
        return "done"

    with beside(work, never) as running:
        assert not running.is_done
        go.set()
        assert running.result() == "done"
        assert running.is_done


def test_an_error_of_the_work_is_raised_even_if_nobody_asks() -> None:
    def work() -> None:
        raise ValueError("theirs")

    with pytest.raises(ValueError, match="theirs"), beside(work, lambda: None):
        pass


def test_a_block_that_fails_ends_the_work_and_tells_its_own_error() -> None:
    ended = threading.Event()

    def work() -> None:
        ended.wait(10)
        raise ValueError("theirs")

    with pytest.raises(KeyError, match="ours"), beside(work, ended.set) as running:
        raise KeyError("ours")
    assert running.is_done


def test_a_long_statement_of_the_store_can_be_ended(tmp_path: Path) -> None:
    """The query would take minutes."""
    long = "SELECT count(*) FROM range(1000000) a, range(1000000) b WHERE hash(a.range, b.range) = 7"
    with Store(tmp_path / "review.duckdb", tmp_path / "spill") as store:
        with pytest.raises(KeyError), beside(lambda: store.fetch(long), store.interrupt) as running:
            raise KeyError("ours")
        with pytest.raises(duckdb.InterruptException):
            running.result()
        assert store.fetch("SELECT 1") == [(1,)]
