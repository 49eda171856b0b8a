"""What a person sees while a long build runs: stage, rows, remaining time; and silence where nobody looks."""

from __future__ import annotations

import io

import pytest

from handling_review.progress import Meter, about, expect


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def lines_of(meter: Meter, clock: Clock, steps: list[tuple[float, str, int]]) -> None:
    with meter:
        for at, stage, rows in steps:
            clock.now = at
            meter(stage, rows)


def test_nothing_is_said_where_nobody_looks() -> None:
    stream = io.StringIO()
    lines_of(Meter(stream=stream), Clock(), [(0, "reading hours.csv", 10), (99, "checking", 0)])
    assert stream.getvalue() == ""


def test_lines_if_asked_for() -> None:
    """Read at 100,000 rows a second: 10 s for a million, then 0.25, 0.55 and 0.6 of it, and 4 s that no row adds to."""
    stream, clock = io.StringIO(), Clock()
    meter = Meter(lines=True, stream=stream, clock=clock)
    expect(meter, 1_000_000)
    steps = [(0.0, "reading hours.csv", 1_000), (5.0, "reading hours.csv", 500_000), (10.0, "checking", 0)]
    steps += [(12.5, "counting hours and cases", 0), (18.0, "keeping rows", 0), (18.0, "judging", 0)]
    steps += [(23.0, "keeping rows", 0), (24.0, "writing", 0)]
    lines_of(meter, clock, steps)
    assert stream.getvalue().splitlines() == [
        "reading hours.csv, 1,000 of about 1,000,000 rows",
        "checking; about 20 s left",  # 2.5 + 5.5 + 6 + 4 = 18
        "counting hours and cases; about 15 s left",  # 15.5
        "keeping rows; about 10 s left",  # 10
        "judging; about 10 s left",  # beside it
        "keeping rows; about 5 s left",  # still the same stage: 10 - 5
        "writing; about 5 s left",  # 4
    ]


def test_remaining_time_while_rows_are_read() -> None:
    clock = Clock()
    meter = Meter(lines=True, stream=io.StringIO(), clock=clock)
    expect(meter, 4_000_000)
    meter("reading hours-1.csv", 0)
    clock.now = 10.0
    meter("reading hours-1.csv", 1_000_000)
    assert meter.remaining(10.0) == pytest.approx(40 * 2.4 + 4 - 10)
    clock.now = 20.0
    meter("reading hours-2.csv", 1_000_000)  # rows of the second file come on top
    assert meter.remaining(20.0) == pytest.approx(40 * 2.4 + 4 - 20)


def test_one_line_on_a_terminal_that_is_wiped_at_the_end() -> None:
    stream = Terminal()
    lines_of(Meter(stream=stream, clock=Clock()), Clock(), [(0, "reading hours.csv", 10), (1, "checking", 0)])
    assert "\n" not in stream.getvalue()
    last = stream.getvalue().split("\r")
    assert last[-1] == ""
    assert last[-2].strip() == ""


def test_times_are_no_finer_than_known() -> None:
    assert [about(s) for s in (3.2, 41, 59.9, 61, 150, 3600)] == [
        "about 5 s", "about 40 s", "about 60 s", "about 1 minute", "about 2 minutes", "about 60 minutes",
    ]  # fmt: skip
