"""Parts made ahead come in their order, errors where they belong, and nothing goes on behind a reader who has left."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from handling_review.ahead import ahead


def test_parts_come_in_their_order() -> None:
    with ahead(iter(range(1000))) as parts:
        assert list(parts) == list(range(1000))


def test_an_error_comes_where_its_part_would_have_come() -> None:
    def broken() -> Iterator[int]:
        yield 1
        yield 2
        raise ValueError("the third is damaged")

    with ahead(broken()) as parts:
        assert [next(parts), next(parts)] == [1, 2]
        with pytest.raises(ValueError, match="the third is damaged"):
            next(parts)


def test_a_reader_who_leaves_ends_the_making() -> None:
    closed = threading.Event()
    made = []

    def endless() -> Iterator[int]:
        try:
            while True:
                made.append(len(made))
                yield made[-1]
        finally:
            closed.set()

    def reader_that_fails() -> None:
        with ahead(endless()) as parts:
            assert next(parts) == 0
            raise KeyError("the reader fails")

    before = threading.active_count()
    with pytest.raises(KeyError):
        reader_that_fails()
    assert closed.is_set(), "a generator is closed where it ran"
    assert threading.active_count() == before
    assert len(made) <= 4, "no more is made than may wait"
