"""What somebody put beside a review, such as minutes: carried into the next one, and never lost on the way."""

from __future__ import annotations

import contextlib
import errno
import filecmp
import json
import os
import shutil
import stat
from collections.abc import Iterator
from itertools import count
from pathlib import Path

OURS = frozenset(
    {
        *("program-review.html", "program-review-wide.html", "system-review.html", "facility-aggregates.json"),
        *("tables", "findings.csv", "review.duckdb", "manifest.json", "snapshots"),
    }
)
_WORKING = frozenset({"spill", "review.duckdb.wal"})  # stand in a review only while it is being made


def sync_folder(folder: Path) -> None:
    """Put the names in a folder on disk; a file system that cannot do that for folders is let be."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):
            raise
    finally:
        os.close(handle)


def link(old: Path, new: Path) -> None:
    """Give everything foreign in ``old`` a second name in ``new``. What cannot be linked is left to ``rescue``."""
    for path in _foreign(old):
        _link(path, new / path.relative_to(old))
    sync_folder(new)


def rescue(old: Path, new: Path) -> None:
    """Move what is foreign in ``old`` and not yet in ``new``; where another file has that name, both are kept."""
    moved = False
    for path in _foreign(old):
        moved |= _rescue(path, new / path.relative_to(old))
    if moved:
        sync_folder(new)


def _foreign(folder: Path) -> Iterator[Path]:
    """What no build wrote: by its name at the top, by the manifest inside our own folders."""
    for path in sorted(folder.iterdir()):
        if path.name not in OURS | _WORKING:
            yield path
    listed = _listed(folder)
    if listed is None:
        return  # a half-written review, or one on its way out: nothing foreign is in its folders
    for name in sorted(OURS):
        if _is_folder(folder / name):
            for path in sorted((folder / name).rglob("*")):
                if not _is_folder(path) and path.relative_to(folder).as_posix() not in listed:
                    yield path


def _listed(folder: Path) -> frozenset[str] | None:
    """The outputs that the manifest of a review names; ``None`` where there is no such manifest."""
    try:
        outputs = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))["outputs"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return frozenset(outputs) if isinstance(outputs, dict) else None


def _is_folder(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink()


def _link(source: Path, target: Path) -> None:
    """A second name for the same file. Folders are made anew; what goes away meanwhile is let go."""
    with contextlib.suppress(FileNotFoundError):
        if _is_folder(source):
            target.mkdir(parents=True, exist_ok=True)
            for one in sorted(source.iterdir()):
                _link(one, target / one.name)
            shutil.copystat(source, target)
            sync_folder(target)
            return
        if os.path.lexists(target):
            return
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            os.link(source, target, follow_symlinks=False)
        except OSError:  # no hard links here, or not allowed for the files of others
            _copy(source, target)


def _copy(source: Path, target: Path) -> None:
    """A copy on disk, or nothing."""
    mode = source.lstat().st_mode
    if not (stat.S_ISREG(mode) or stat.S_ISLNK(mode)):
        return
    try:
        shutil.copy2(source, target, follow_symlinks=False)
        if stat.S_ISREG(mode):
            with target.open("rb") as stream:
                os.fsync(stream.fileno())
    except OSError:
        target.unlink(missing_ok=True)


def _rescue(source: Path, target: Path) -> bool:
    """Whether anything was moved."""
    if not os.path.lexists(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        source.rename(target)
        return True
    if _is_folder(source) and _is_folder(target):
        moved = [_rescue(one, target / one.name) for one in sorted(source.iterdir())]
        if any(moved):
            sync_folder(target)
        return any(moved)
    if _is_same(source, target):
        return False
    free = (target.with_name(f"{target.name}.kept-{number}") for number in count(1))
    source.rename(next(name for name in free if not os.path.lexists(name)))
    return True


def _is_same(one: Path, other: Path) -> bool:
    first, second = one.lstat(), other.lstat()
    if os.path.samestat(first, second):
        return True
    if stat.S_ISLNK(first.st_mode) and stat.S_ISLNK(second.st_mode):
        return one.readlink() == other.readlink()
    both_files = stat.S_ISREG(first.st_mode) and stat.S_ISREG(second.st_mode)
    return both_files and filecmp.cmp(one, other, shallow=False)
