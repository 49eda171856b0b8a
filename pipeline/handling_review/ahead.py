"""The next parts of a stream made ready in a thread of their own while the last one is worked on.

Parsing text, fetching rows and packing files leave Python alone for most of their time, so two of them run at once.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TypeVar

Part = TypeVar("Part")
DEPTH = 1  # parts that wait, besides the one in the making; more would only take memory


@dataclass(frozen=True)
class _End:
    """The stream has ended, with this error if it failed."""

    error: BaseException | None = None


@contextmanager
def ahead(source: Iterable[Part], depth: int = DEPTH) -> Iterator[Iterator[Part]]:
    """The parts of ``source`` in their order, up to ``depth`` of them made before they are asked for.

    What the source raises is raised where its part would have come. When the block ends the source is let go of, and
    its thread has ended.
    """
    waiting: queue.Queue[Part | _End] = queue.Queue(maxsize=depth)
    stop = threading.Event()
    maker = threading.Thread(target=_make, args=(source, waiting, stop), daemon=True)
    maker.start()
    try:
        yield _parts(waiting)
    finally:
        stop.set()
        while maker.is_alive():
            _drain(waiting)
            maker.join(0.01)


def _make(source: Iterable[Part], waiting: queue.Queue[Part | _End], stop: threading.Event) -> None:
    end = _End()
    try:
        for part in source:
            if not _put(waiting, part, stop):
                return
    except BaseException as error:  # told where it is asked for
        end = _End(error)
    finally:
        close: Callable[[], None] | None = getattr(source, "close", None)  # a generator is closed where it ran
        if close is not None:
            close()
    _put(waiting, end, stop)


def _put(waiting: queue.Queue[Part | _End], part: Part | _End, stop: threading.Event) -> bool:
    while not stop.is_set():
        try:
            waiting.put(part, timeout=0.05)
        except queue.Full:
            continue
        return True
    return False


def _parts(waiting: queue.Queue[Part | _End]) -> Iterator[Part]:
    while True:
        part = waiting.get()
        if isinstance(part, _End):
            if part.error is not None:
                raise part.error
            return
        yield part


def _drain(waiting: queue.Queue[Part | _End]) -> None:
    while True:
        try:
            waiting.get_nowait()
        except queue.Empty:
            return
