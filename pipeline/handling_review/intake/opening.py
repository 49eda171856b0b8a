"""Input files opened: plain files only, and the same file each time it is read."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from handling_review.inputs import NotPlainFile, identity, open_plain
from handling_review.problems import DataProblem

CHUNK = 1 << 22


def open_input(path: Path) -> BinaryIO:
    """One input file open for reading in bytes; raises ``DataProblem`` with one sentence where that cannot be."""
    try:
        return open_plain(path)
    except FileNotFoundError:
        raise DataProblem(
            f"{path.name}: there is no such file in {path.parent.name or 'the folder'}/. "
            "Put it there, or correct its name in [files] of the program file."
        ) from None
    except NotPlainFile as problem:
        raise DataProblem(f"{path.name}: {problem} Correct [files] of the program file.") from None
    except OSError as error:
        raise DataProblem(f"{path.name}: cannot be read ({error.strerror}). Check its permissions.") from None


def chunks(path: Path, stream: BinaryIO) -> Iterator[bytes]:
    """The bytes of an open input file, 4 MB at a time."""
    try:
        while chunk := stream.read(CHUNK):
            yield chunk
    except OSError as error:
        raise DataProblem(f"{path.name}: cannot be read ({error.strerror}). Check its permissions.") from None


def open_again(path: Path, seen: tuple[int, ...]) -> BinaryIO:
    """The same file for another reading; raises ``DataProblem`` if it is not what was ``seen`` at the first."""
    stream = open_input(path)
    if seen and identity(stream) != seen:
        stream.close()
        raise DataProblem(f"{path.name}: the file was changed while it was being read. Run again when it is whole.")
    return stream


class Paced:
    """A file for a reader that reads ahead: at most ``ahead`` parts are handed out that have not been taken.

    Arrow reads 32 blocks ahead of its parser, half a gigabyte, wherever the disk is faster. Each ``took`` says that one
    part has been taken. A reader that is told nothing still gets a part every ``patience`` seconds, since a part
    may hold nothing to work on.
    """

    def __init__(self, source: BinaryIO, ahead: int = 4, patience: float = 0.25) -> None:
        self._source = source
        self._may_read = threading.Condition()
        self._ahead, self._patience = ahead, patience
        self._handed_out = self._taken = 0
        self.closed = False

    def read(self, size: int = -1) -> bytes:
        """The next bytes, once the reader is not too far ahead; nothing after the file has been closed."""
        with self._may_read:
            self._may_read.wait_for(self._is_near, timeout=self._patience)
            if self.closed:
                return b""
            self._handed_out += 1
            return self._source.read(size)

    def _is_near(self) -> bool:
        return self.closed or self._handed_out - self._taken < self._ahead

    def took(self) -> None:
        """One part has been taken from the reader."""
        with self._may_read:
            self._taken += 1
            self._may_read.notify_all()

    def readable(self) -> bool:
        """True: what Arrow asks of a file that it reads."""
        return True

    def seekable(self) -> bool:
        """False: the parts come in their order."""
        return False

    def close(self) -> None:
        """Let go of the file, and of a reader that waits for a part."""
        with self._may_read:
            self.closed = True
            self._may_read.notify_all()
            self._source.close()
