"""Input files opened: plain files only, and the same file each time it is read."""

from __future__ import annotations

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
