"""Moving a finished review in place: written beside, synced, exchanged, so a build that dies leaves the old one.

The order of steps, each of which may be the last:

1. the review is written into ``.NAME.new-PID`` beside the output folder ``NAME``;
2. every file and folder of it is synced;
3. whatever somebody put beside the old review is linked into it (``store.notes``);
4. the parent is synced, the two folders are exchanged in one step, the parent is synced again;
5. what was put beside the old review since step 3 is moved over, and the old review is removed.

The next build finds what a killed one left by its name, saves what is not a build's own, and removes the rest.
"""

from __future__ import annotations

import ctypes
import errno
import os
import re
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from handling_review.problems import OutputProblem
from handling_review.stopping import undisturbed
from handling_review.store import notes
from handling_review.store.alone import alone, make_folders
from handling_review.store.notes import OURS, sync_folder

__all__ = ["OURS", "output_folder"]
_AT_FDCWD = -100
_EXCHANGE = 2
_CANNOT_EXCHANGE = (errno.EINVAL, errno.ENOSYS, errno.EPERM, errno.EOPNOTSUPP)


@contextmanager
def output_folder(out: Path) -> Iterator[Path]:
    """A private folder beside ``out`` to write a review into; moved in place when the block ends well.

    A symbolic link is followed: the review goes where it points. One build at a time per folder, however its path is
    spelled. Raises ``OutputProblem`` if another build holds it, if it cannot be written, or if it is something other
    than a review.
    """
    try:
        place = out.resolve()
        _refuse_foreign(place)
        make_folders(place.parent)
    except (OSError, RuntimeError) as error:  # RuntimeError: links that lead in a circle, before Python 3.13
        raise OutputProblem(f"{out}: cannot be written ({_reason(error)}). Choose another folder with --out.") from None
    with alone(place):
        try:
            _clean_leftovers(place)
            yield from _filled(place)
        except OSError as error:
            raise OutputProblem(f"{out}: cannot be written ({_reason(error)}).") from None


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


def _filled(out: Path) -> Iterator[Path]:
    fresh = out.parent / f".{out.name}.new-{os.getpid()}"
    fresh.mkdir(mode=0o700)
    try:
        yield fresh
        _sync(fresh)
    except BaseException:
        with undisturbed():
            shutil.rmtree(fresh, ignore_errors=True)
        raise
    with undisturbed():
        _move_in_place(fresh, out)


def _refuse_foreign(out: Path) -> None:
    if not out.exists():
        return
    if not out.is_dir():
        raise OutputProblem(f"{out}: this is a file; a review needs a folder. Choose another name with --out.")
    if out.is_mount():
        raise OutputProblem(
            f"{out}: a drive is mounted there, and a build puts a new folder in the place of the old one. "
            f"Name a folder inside it, such as --out {out / 'review'}."
        )
    if any(out.iterdir()) and not (out / "manifest.json").is_file():
        raise OutputProblem(f"{out}: the folder holds other things and no review. Choose another with --out.")
    if Path.cwd().is_relative_to(out):
        raise OutputProblem(
            f"{out}: this is the folder you are in, and a build puts a new folder in its place. "
            "Run the command from another folder."
        )


def _clean_leftovers(out: Path) -> None:
    """Remove what a killed build left beside ``out``; put back an old review that was on its way out."""
    ours = re.compile(rf"\.{re.escape(out.name)}\.(old|new)-\d+")
    left = sorted(path for path in out.parent.iterdir() if ours.fullmatch(path.name))
    with undisturbed():
        for old in [path for path in left if ".old-" in path.name]:
            if not out.exists():
                old.rename(out)
                sync_folder(out.parent)
        for one in left:
            if one.exists():
                _retire(one, out)


def _sync(folder: Path) -> None:
    """Ask the system to put every file and folder on disk before the exchange: contents first, then names."""
    for parent, _folders, names in os.walk(folder, topdown=False):
        for path in [*(Path(parent) / name for name in sorted(names)), Path(parent)]:
            handle = os.open(path, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)


def _move_in_place(fresh: Path, out: Path) -> None:
    """Exchange the finished review with the old one, or give it its name. On failure the old one stays as it is."""
    old = None
    try:
        if out.exists():
            notes.link(out, fresh)
        sync_folder(out.parent)
        if out.exists():
            old = fresh if _exchange(fresh, out) else _two_renames(fresh, out)
        else:
            fresh.rename(out)
    except BaseException:
        shutil.rmtree(fresh, ignore_errors=True)
        raise
    sync_folder(out.parent)
    if old is not None:
        _retire(old, out)


def _retire(old: Path, out: Path) -> None:
    """Move what is not a build's own from an old or half-written review to ``out``, then remove the old one."""
    if out.exists():
        try:
            notes.rescue(old, out)
        except OSError as error:
            raise OutputProblem(
                f"{out}: the review there is whole, but files that somebody had put beside it could not be moved back "
                f"({_reason(error)}). They are in {old}: move them yourself, then remove that folder."
            ) from None
    shutil.rmtree(old, ignore_errors=True)


def _two_renames(fresh: Path, out: Path) -> Path:
    """For systems without an exchange; if the process dies between the two, the next build puts the old one back."""
    old = out.parent / f".{out.name}.old-{os.getpid()}"
    out.rename(old)
    try:
        fresh.rename(out)
    except BaseException:
        old.rename(out)
        raise
    return old


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
    if ctypes.get_errno() in _CANNOT_EXCHANGE:
        return False
    raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))
