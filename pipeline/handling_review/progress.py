"""Stage, rows and remaining time on stderr while a build runs; nothing that is built depends on it."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable
from typing import TextIO

# Time of the later stages as shares of that of reading the rows, and seconds that no row adds to: from builds of 20 and
# 100 million hour rows on two processors (tests/bench/scale.py). Rows are kept while numbers are judged.
_SHARES = ((("checking",), 0.25), (("counting",), 0.55), (("keeping", "judging"), 0.6))
_FIXED_SECONDS = 4.0
_LINE_SECONDS = 10.0  # between two lines of one stage, where lines are printed
_TOLD_FROM = 3.0  # seconds; a shorter rest is not worth a word


class Meter:
    """Called with a stage and the rows it has read; shows them on one line of a terminal, or as lines if asked to.

    ``expect`` says how many rows will be read in all, which the remaining time is worked out from.
    """

    def __init__(
        self, *, lines: bool = False, stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._stream = sys.stderr if stream is None else stream
        self._live = self._stream.isatty()
        self._lines = lines and not self._live
        self._clock = clock
        self._lock = threading.Lock()
        self._ended = threading.Event()
        self._width = 0
        self._expected = self._before = self._rows = 0
        self._stage, self._told_at = "", 0.0
        self._reading_from: float | None = None
        self._reading_took = 0.0
        self._stage_from = 0.0

    def __enter__(self) -> Meter:
        if self._live:
            threading.Thread(target=self._tick, daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        with self._lock:
            if self._live and self._width:
                self._stream.write("\r" + " " * self._width + "\r")
                self._stream.flush()

    def expect(self, rows: int) -> None:
        """So many rows will be read in all, as far as the sizes of the files tell."""
        self._expected = rows

    def __call__(self, stage: str, rows: int) -> None:
        """Show the stage, and how many rows it has read of its file; silent if nobody is there to see it."""
        if not (self._live or self._lines):
            return
        with self._lock:
            now = self._clock()
            is_new = stage != self._stage
            if is_new:
                self._start(stage, now)
            self._rows = rows
            if self._live:
                self._show(now)
            elif is_new or now - self._told_at >= _LINE_SECONDS:
                self._told_at = now
                self._stream.write(self._text(now) + "\n")
                self._stream.flush()

    def _start(self, stage: str, now: float) -> None:
        if self._stage.startswith("reading"):
            self._before += self._rows
        if stage.startswith("reading") and self._reading_from is None:
            self._reading_from = now
        if self._reading_from is not None and not stage.startswith("reading") and not self._reading_took:
            self._reading_took = max(now - self._reading_from, 1e-3)
        if _share_of(stage) != _share_of(self._stage):
            self._stage_from = now
        self._stage = stage

    def remaining(self, now: float) -> float | None:
        """Seconds that are left, about; None where nothing can be said yet."""
        shares = sum(share for _, share in _SHARES)
        if self._reading_took:
            rest = sum(share for _, share in _SHARES[_share_of(self._stage) :]) * self._reading_took + _FIXED_SECONDS
            return max(rest - (now - self._stage_from), 0.0)
        done = self._before + self._rows
        if self._reading_from is None or not self._expected or done < 0.02 * self._expected:
            return None
        whole = (now - self._reading_from) * max(self._expected / done, 1.0)
        return whole * (1 + shares) + _FIXED_SECONDS - (now - self._reading_from)

    def _text(self, now: float) -> str:
        text = self._stage
        if self._rows:
            read = self._before + self._rows
            text += f", {read:,} of about {self._expected:,} rows" if self._expected > read else f", {read:,} rows"
        left = self.remaining(now)
        return text if left is None or left < _TOLD_FROM else f"{text}; {about(left)} left"

    def _show(self, now: float) -> None:
        text = self._text(now)
        self._stream.write("\r" + text.ljust(self._width))
        self._stream.flush()
        self._width = max(self._width, len(text))

    def _tick(self) -> None:
        """Bring the remaining time up to date while a long step says nothing."""
        while not self._ended.wait(1.0):
            with self._lock:
                if self._stage and not self._ended.is_set():
                    self._show(self._clock())


def _share_of(stage: str) -> int:
    """Which of the later stages it is; their number for any other."""
    return next((place for place, (names, _) in enumerate(_SHARES) if stage.startswith(names)), len(_SHARES))


def about(seconds: float) -> str:
    """A time in words, no finer than it is known."""
    if seconds < 60:
        return f"about {max(5, 5 * round(seconds / 5))} s"
    minutes = round(seconds / 60)
    return f"about {minutes} minute{'' if minutes == 1 else 's'}"


def expect(progress: Callable[[str, int], None], rows: int) -> None:
    """Tell a meter how many rows to expect; other listeners have no use for it."""
    if isinstance(progress, Meter):
        progress.expect(rows)
