"""Moving a finished review in place: written beside, synced, exchanged, so a build that dies leaves the old one."""

from __future__ import annotations

import contextlib
import ctypes
import errno
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from handling_review.problems import OutputProblem

OURS = frozenset(
    {"program-review.html", "system-review.html", "facility-aggregates.json", "tables", "findings.csv", "review.duckdb",
     "manifest.json"}
)  # fmt: skip
_AT_FDCWD = -100
_EXCHANGE = 2


@contextmanager
def output_folder(out: Path) -> Iterator[Path]:
    """A private folder beside ``out`` to write a review into; moved in place when the block ends well.

    One build at a time per ``out``. Raises ``OutputProblem`` if another build holds it, if it cannot be written, or if
    it is something other than a review.
    """
    out = out.absolute()
    _refuse_foreign(out)
    lock = _lock_path(out)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        held = FileLock(lock, timeout=0)
        held.acquire()
    except Timeout:
        raise OutputProblem(f"{out}: another build is writing there{_holder(lock)}. Wait for it to end.") from None
    except OSError as error:
        raise OutputProblem(f"{out}: cannot be written ({error.strerror}). Choose another folder with --out.") from None
    try:
        with contextlib.suppress(OSError):
            _pid_path(lock).write_text(f"{os.getpid()}\n", encoding="ascii")
        _clean_leftovers(out)
        yield from _filled(out)
    except OSError as error:
        raise OutputProblem(f"{out}: cannot be written ({error.strerror or error}).") from None
    finally:
        _pid_path(lock).unlink(missing_ok=True)
        held.release()
        lock.unlink(missing_ok=True)


def _filled(out: Path) -> Iterator[Path]:
    fresh = out.parent / f".{out.name}.new-{os.getpid()}"
    fresh.mkdir(mode=0o700)
    try:
        yield fresh
        _sync(fresh)
        _move_in_place(fresh, out)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _refuse_foreign(out: Path) -> None:
    if not out.exists():
        return
    if not out.is_dir():
        raise OutputProblem(f"{out}: this is a file; a review needs a folder. Choose another name with --out.")
    if any(out.iterdir()) and not (out / "manifest.json").is_file():
        raise OutputProblem(f"{out}: the folder holds other things and no review. Choose another with --out.")


def _lock_path(out: Path) -> Path:
    return out.parent / f".{out.name}.lock"


def _pid_path(lock: Path) -> Path:
    return lock.with_suffix(".pid")


def _holder(lock: Path) -> str:
    try:
        return f" (process {int(_pid_path(lock).read_text(encoding='ascii'))})"
    except (OSError, ValueError):
        return ""


def _clean_leftovers(out: Path) -> None:
    """Remove what a killed build left beside ``out``; put back an old review that was on its way out."""
    for old in sorted(out.parent.glob(f".{out.name}.old-*")):
        if not out.exists():
            old.rename(out)
        else:
            shutil.rmtree(old, ignore_errors=True)
    for new in out.parent.glob(f".{out.name}.new-*"):
        shutil.rmtree(new, ignore_errors=True)


def _sync(folder: Path) -> None:
    """Ask the system to put every file and folder on disk before the exchange."""
    for path in [*folder.rglob("*"), folder]:
        flags = os.O_RDONLY
        handle = os.open(path, flags)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _move_in_place(fresh: Path, out: Path) -> None:
    if not out.exists():
        fresh.rename(out)
        _sync_parent(out)
        return
    if _exchange(fresh, out):
        old = fresh
    else:  # no exchange on this system: two renames, mended by the next build if it dies between them
        old = out.parent / f".{out.name}.old-{os.getpid()}"
        out.rename(old)
        fresh.rename(out)
    for kept in old.iterdir():
        if kept.name not in OURS:  # notes that somebody put beside the review
            kept.rename(out / kept.name)
    _sync_parent(out)
    shutil.rmtree(old, ignore_errors=True)


def _exchange(one: Path, other: Path) -> bool:
    """Swap two folders in one step where the system can (Linux)."""
    if not sys.platform.startswith("linux"):
        return False
    libc = ctypes.CDLL(None, use_errno=True)
    if not hasattr(libc, "renameat2"):
        return False
    done = libc.renameat2(_AT_FDCWD, os.fsencode(one), _AT_FDCWD, os.fsencode(other), _EXCHANGE)
    if done == 0:
        return True
    if ctypes.get_errno() in (errno.EINVAL, errno.ENOSYS, errno.EPERM):
        return False
    raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))


def _sync_parent(out: Path) -> None:
    handle = os.open(out.parent, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
