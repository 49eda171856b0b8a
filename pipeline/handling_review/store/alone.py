"""One build at a time in an output folder, across processes; a process that died holds nothing."""

from __future__ import annotations

import contextlib
import errno
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from handling_review.problems import OutputProblem
from handling_review.stopping import undisturbed
from handling_review.store.notes import sync_folder

_PATIENCE = 0.3  # seconds: a lock file that is being removed under our hands is tried again


@contextmanager
def alone(out: Path) -> Iterator[None]:
    """Hold the folder ``out`` (a settled path) for this process while the block runs.

    The system itself lets go of the lock when the process ends, however it ends. Raises ``OutputProblem`` that names
    the process that holds it and since when.
    """
    lock = out.parent / f".{out.name}.lock"
    said = out.parent / f".{out.name}.pid"
    try:
        held = FileLock(lock, timeout=_PATIENCE, poll_interval=_PATIENCE / 10)
        held.acquire()
    except Timeout:
        raise OutputProblem(f"{out}: {_holder(said)} Wait for it to end.") from None
    except OSError as error:
        raise OutputProblem(f"{out}: cannot be written ({error.strerror}). Choose another folder with --out.") from None
    try:
        with contextlib.suppress(OSError):
            said.write_text(f"{os.getpid()} {time.time():.0f}\n", encoding="ascii")
        yield
    finally:
        with undisturbed():
            # Removed while it is held: whoever opened it before gets a file without a name, and tries again.
            for path in (said, lock):
                with contextlib.suppress(OSError):
                    path.unlink(missing_ok=True)
            held.release()


def make_folders(folder: Path) -> None:
    """Make a folder and those above it, each name on disk before the next."""
    missing = []
    while not folder.exists():
        missing.append(folder)
        folder = folder.parent
    if not folder.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, f"{folder} is a file")
    for one in reversed(missing):
        one.mkdir(exist_ok=True)
        sync_folder(one.parent)


def _holder(said: Path) -> str:
    try:
        process, since = (int(part) for part in said.read_text(encoding="ascii").split())
    except (OSError, ValueError):
        return "another build is writing there."
    return f"another build (process {process}) has been writing there for {_age(time.time() - since)}."


def _age(seconds: float) -> str:
    """A length of time in the largest unit that it fills: ``41 seconds``, ``3 minutes``, ``2 hours``."""
    for size, noun in ((3600, "hour"), (60, "minute"), (1, "second")):
        number = int(seconds // size)
        if number >= 1:
            return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
    return "less than a second"
