"""Files made to hurt: huge, endless, lying. Each is written into a small facility and met by the tool in a child."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from whole import facility

MB = 1 << 20
Maker = Callable[[Path, int], None]


@dataclass(frozen=True)
class Met:
    """What the tool did: exit code, what it said, peak memory in MB, seconds."""

    code: int
    said: str
    peak_mb: float
    seconds: float


_CHILD = """
import sys
from handling_review.cli import main
code = main(sys.argv[1:3])
sys.stdout.flush()
peak = next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM"))
print("peak kB", peak)
sys.exit(code)
"""


def meet(folder: Path, command: str = "check") -> Met:
    """Run a command on the facility in ``folder`` in a child of its own, and measure it.

    The peak is the child's own: the usual counter would start from the size of this process.
    """
    began = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-c", _CHILD, command, str(folder / "program.toml")],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        cwd=folder,
        check=False,
        timeout=600,
    )
    said, _, peak = done.stdout.decode("utf-8", "replace").rpartition("peak kB ")
    return Met(done.returncode, said, int(peak) / 1024, time.monotonic() - began)


def _filled(path: Path, head: bytes, part: bytes, size: int) -> None:
    with path.open("wb") as out:
        out.write(head)
        for _ in range(max(1, size // len(part))):
            out.write(part)


HEAD = b"employee_id,unit,period_start,period_end,hours\n"


def long_line(path: Path, size: int) -> None:
    _filled(path, HEAD, b"x" * MB, size)


def long_first_line(path: Path, size: int) -> None:
    _filled(path, b"", b"x" * MB, size)


def nul_bytes(path: Path, size: int) -> None:
    with path.open("wb") as out:  # sparse: no byte of it is stored
        out.write(HEAD)
        out.truncate(size)


def only_quotes(path: Path, size: int) -> None:
    _filled(path, HEAD, b'"' * MB, size)


def many_columns(path: Path, size: int) -> None:
    with path.open("wb") as out:
        for number in range(size // 8):
            out.write(b"c%06d," % number)


def short_rows(path: Path, size: int) -> None:
    _filled(path, HEAD, b"a\n" * (MB // 2), size)


def long_cells(path: Path, size: int) -> None:
    with path.open("wb") as out:
        out.write(HEAD)
        for number in range(size // (8 * MB) + 1):
            out.write(b"1,%d" % number + b"u" * (8 * MB) + b",2025-01-01,2025-03-31,5\n")


def wide_text(path: Path, size: int) -> None:
    with path.open("wb") as out:
        out.write(b"\xff\xfe" + HEAD.decode().encode("utf-16-le"))
        for _ in range(max(1, size // MB)):
            out.write("x".encode("utf-16-le") * (MB // 2))


def odd_bytes(path: Path, size: int) -> None:
    _filled(path, HEAD, b"\x92" * MB, size)


def _hours(unit: pa.Array) -> pa.Table:
    rows = len(unit)
    day = pa.array(["2025-01-01"]).take(pa.array([0] * rows))
    return pa.table({"unit": unit, "period_start": day, "period_end": day, "hours": pa.array(["1"] * rows)})


def parquet_page(path: Path, size: int) -> None:
    """A few kilobytes that unpack to one text of the given size."""
    text = pa.array(["\0" * size], pa.large_string())
    pq.write_table(_hours(text), path, compression="zstd", use_dictionary=False, write_statistics=False)


def parquet_repeated(path: Path, size: int) -> None:
    """One long text, repeated by its place in a dictionary: spread out it is a million times as long."""
    rows = 400_000
    unit = pa.DictionaryArray.from_arrays(pa.array([0] * rows, pa.int32()), pa.array(["u" * (size // 100)]))
    pq.write_table(_hours(unit.cast(pa.dictionary(pa.int32(), pa.string()))), path, compression="zstd")


def parquet_columns(path: Path, size: int) -> None:
    pq.write_table(pa.table({f"c{n}": [1] for n in range(min(size // 20_000, MOST_COLUMNS))}), path)


def parquet_cut(path: Path, size: int) -> None:
    pq.write_table(_hours(pa.array(["North"])), path)
    content = path.read_bytes()
    path.write_bytes(content[:-8] + (2**31 - 1).to_bytes(4, "little") + b"PAR1")  # a footer of two gigabytes


PAYLOADS: dict[str, tuple[Maker, int, str]] = {
    "a line without end": (long_line, 4, "a row is longer than 32 MB"),
    "a first line without end": (long_first_line, 4, "the line of column names is longer than"),
    "NUL bytes": (nul_bytes, 4, "a NUL byte"),
    "quotation marks only": (only_quotes, 4, "a row is longer than 32 MB"),
    "a million columns": (many_columns, 4, "the line of column names is longer than"),
    "millions of short rows": (short_rows, 4, "rows have another number of cells than the header"),
    "giant cells": (long_cells, 4, "None of the"),
    "UTF-16 without end": (wide_text, 4, "a row is longer than 32 MB"),
    "bytes outside UTF-8": (odd_bytes, 4, "a row is longer than 32 MB"),
    "Parquet: a page that unpacks to gigabytes": (parquet_page, 4, "unpacks to"),
    "Parquet: one long text repeated": (parquet_repeated, 4, "None of the"),
    "Parquet: many columns": (parquet_columns, 4, "columns; at most 1,000 are read"),
    "Parquet: a footer that lies about its length": (parquet_cut, 4, "cannot be read"),
}


_LEAST = {
    "Parquet: a page that unpacks to gigabytes": 200 * MB,  # above what one column may unpack to
    "UTF-16 without end": 160 * MB,  # a row may lie in two blocks of 32 MB, not in three
}
MOST_COLUMNS = 50_000  # beyond this Arrow itself refuses the footer, in other words


def attack(folder: Path, name: str, size: int) -> tuple[Met, int, str]:
    """Meet one payload of about ``size`` bytes as the hours file; also the expected exit code and words."""
    maker, code, words = PAYLOADS[name]
    facility.write(folder)
    maker(folder / "hours.csv", max(size, _LEAST.get(name, 0)))
    met = meet(folder)
    (folder / "hours.csv").unlink()
    return met, code, words
