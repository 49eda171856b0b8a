"""Opening what a user names: plain files only, from the program file's own folder unless another is allowed.

A link, a pipe or a device is refused before a byte of it is read: a pipe would wait for ever, a link can be turned to
another file between the look and the reading.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import BinaryIO

from handling_review.problems import ReviewProblem

MOST_PROGRAM_BYTES = 1 << 20  # a program file with every setting has a few thousand
_KINDS = (
    (stat.S_ISLNK, "a symbolic link. Name the file itself."),
    (stat.S_ISDIR, "a folder. Name a file in it."),
    (stat.S_ISFIFO, "a pipe, not a plain file. Save its content as a file and name that."),
    (stat.S_ISSOCK, "a socket, not a plain file. Name a file."),
    (stat.S_ISCHR, "a device, not a plain file. Name a file."),
    (stat.S_ISBLK, "a device, not a plain file. Name a file."),
)


class NotPlainFile(ReviewProblem):
    """The path is no plain file; the message says what it is and what to do, without the path."""


def open_plain(path: Path) -> BinaryIO:
    """The file open for reading in bytes, if it is a plain file itself and no link to one.

    Never waits. Raises ``NotPlainFile``, or ``OSError`` where it cannot be opened.
    """
    _refuse(path.lstat().st_mode)
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags)
    try:
        _refuse(os.fstat(handle).st_mode)  # again: something else may stand there by now
    except NotPlainFile:
        os.close(handle)
        raise
    return os.fdopen(handle, "rb")


def identity(stream: BinaryIO) -> tuple[int, ...]:
    """What an open file is and when it was last written: two readings of one file must agree in it."""
    seen = os.fstat(stream.fileno())
    return seen.st_dev, seen.st_ino, seen.st_size, seen.st_mtime_ns


def _refuse(mode: int) -> None:
    for test, words in _KINDS:
        if test(mode):
            raise NotPlainFile(f"this is {words}")


def beside(folder: Path, name: str) -> Path:
    """The absolute path that ``name`` in a program file of ``folder`` stands for; links in it are left as they are."""
    return Path(os.path.normpath(Path(os.path.abspath(folder)) / name))


def leads_out(folder: Path, name: str) -> bool:
    """Whether ``name`` stands for something outside ``folder``: absolute, through ``..``, or through a linked folder.

    The last step is not followed: a file that is a link is refused when it is opened.
    """
    if Path(name).is_absolute():
        return True
    root = Path(os.path.realpath(folder))
    path = beside(folder, name)
    if not path.is_relative_to(Path(os.path.abspath(folder))):
        return True
    return not Path(os.path.realpath(path.parent)).is_relative_to(root)
