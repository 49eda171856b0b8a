"""Signals that ask to stop: turned into an exception, held back in short steps, and let be where they are ignored."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator

import pytest

from handling_review.stopping import SIGNALS, Stopped, stoppable, undisturbed


@pytest.fixture(autouse=True)
def listening() -> Iterator[None]:
    """Signals as a person's shell has them: a run in the background may have been told to ignore some."""
    usual = dict.fromkeys(SIGNALS, signal.SIG_DFL) | {signal.SIGINT: signal.default_int_handler}
    before = {number: signal.signal(number, handler) for number, handler in usual.items()}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_a_signal_stops_the_work_and_gives_the_exit_code_of_shells(number: signal.Signals, code: int) -> None:
    before = signal.getsignal(number)
    with stoppable() as stop, pytest.raises(Stopped):
        signal.raise_signal(number)
    assert stop.exit_code == code
    assert signal.getsignal(number) is before


def test_a_signal_that_is_ignored_stays_ignored() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with stoppable() as stop:
            signal.raise_signal(signal.SIGHUP)
        assert stop.number == 0
    finally:
        signal.signal(signal.SIGHUP, before)


def test_a_signal_waits_for_the_end_of_an_undisturbed_step() -> None:
    done = []

    def step() -> None:
        with undisturbed():
            signal.raise_signal(signal.SIGTERM)
            signal.raise_signal(signal.SIGINT)
            done.append("step")
        done.append("more")

    with stoppable() as stop, pytest.raises(Stopped):
        step()
    assert done == ["step"]
    assert stop.number == signal.SIGTERM


def test_in_another_thread_nothing_is_changed() -> None:
    before = signal.getsignal(signal.SIGTERM)
    seen = []

    def work() -> None:
        with stoppable(), undisturbed():
            seen.append(signal.getsignal(signal.SIGTERM) is before)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert seen == [True]
