"""Being asked to stop (Ctrl-C, SIGTERM, a closed terminal): work ends cleanly, and moving a review in place ends first.

A signal becomes an exception in the main thread, so that folders and locks are let go of on the way out.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

SIGNALS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))


class Stopped(KeyboardInterrupt):
    """Someone asked this process to stop."""


class Stop:
    """Which signal asked to stop; 0 while none has."""

    def __init__(self) -> None:
        self.number = 0

    @property
    def exit_code(self) -> int:
        """128 and the number of the signal, as shells have it: 130 for Ctrl-C, 143 for SIGTERM."""
        return 128 + (self.number or signal.SIGINT)


@contextmanager
def stoppable() -> Iterator[Stop]:
    """Turn signals that ask to stop into ``Stopped`` while the block runs; one that is ignored stays ignored.

    The number is kept besides, since a library may turn the exception into one of its own.
    """
    stop = Stop()

    def asked(number: int, _frame: FrameType | None) -> None:
        stop.number = number
        raise Stopped

    before = _handle(asked)
    try:
        yield stop
    finally:
        _restore(before)


@contextmanager
def undisturbed() -> Iterator[None]:
    """Hold back signals that ask to stop until the block has ended. For steps that take a moment."""
    held: list[int] = []
    before = _handle(lambda number, _frame: held.append(number))
    try:
        yield
    finally:
        _restore(before)
        for number in held[:1]:
            signal.raise_signal(number)


def _handle(handler: signal._HANDLER) -> dict[int, signal._HANDLER]:
    """Set the handler of every signal that is not ignored; returns the handlers before. Main thread only."""
    if threading.current_thread() is not threading.main_thread():
        return {}
    before = {number: signal.getsignal(number) for number in SIGNALS}
    before = {number: one for number, one in before.items() if one is not signal.SIG_IGN and one is not None}
    for number in before:
        signal.signal(number, handler)
    return dict(before)


def _restore(before: dict[int, signal._HANDLER]) -> None:
    for number, handler in before.items():
        signal.signal(number, handler)
