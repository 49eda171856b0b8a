"""Work done in a thread of its own while this one does something else, and waited for when its result is needed."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Generic, TypeVar

Result = TypeVar("Result")
_PATIENCE = 0.05  # seconds between two requests to stop


class Beside(Generic[Result]):
    """Work that runs in a thread until it has ended."""

    def __init__(self, work: Callable[[], Result]) -> None:
        self._work = work
        self._found: list[Result] = []
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        try:
            self._found.append(self._work())
        except BaseException as error:  # told where the result is asked for
            self._error = error

    @property
    def is_done(self) -> bool:
        """Whether the work has ended, well or not."""
        return not self._thread.is_alive()

    def result(self) -> Result:
        """What the work returned, once it has ended; raises what it raised."""
        self._thread.join()
        if self._error is not None:
            raise self._error
        return self._found[0]

    def end(self, stop: Callable[[], None]) -> None:
        """Ask the work to stop until it has ended; what it raises then is nobody's concern."""
        while not self.is_done:
            stop()
            self._thread.join(_PATIENCE)


@contextmanager
def beside(work: Callable[[], Result], stop: Callable[[], None]) -> Iterator[Beside[Result]]:
    """Do ``work`` beside the block. A block that fails asks it to ``stop``, again and again, and waits for its end."""
    running = Beside(work)
    try:
        yield running
        running.result()
    except BaseException:
        running.end(stop)
        raise
