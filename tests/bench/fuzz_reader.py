"""Does any damaged file break the reader? ``python tests/bench/fuzz_reader.py`` writes FUZZ_READER.md beside itself.

Small files of all kinds (text in four encodings, four delimiters and three line ends, and Parquet) are damaged at
random, read with a random way of writing values, and one in fifty goes through the whole check. The only ways out are
a reading whose rows add up, or a problem told in a sentence.
"""

from __future__ import annotations

import io
import sys
import time
from collections.abc import Callable
from datetime import date
from functools import cache
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pyarrow.csv as pa_csv
import pyarrow.parquet as pq

sys.path.insert(0, str(Path(__file__).parent.parent))

from bench.campaign import command
from handling_review import files, review
from handling_review.intake.contracts import contract
from handling_review.intake.dialect import examine
from handling_review.intake.reading import FileReader
from handling_review.intake.values import Style
from handling_review.problems import DataProblem
from handling_review.program import FILE_NAMES, read_program
from handling_review.settings import DATE_ORDERS, HOURS_AS
from whole import facility

RESULT = Path(__file__).with_name("FUZZ_READER.md")
BATCH = 250
WHOLE_CHECK = 50  # one case in so many goes through the whole check
TOO_LONG = 5.0  # seconds of processor time: other work on the machine must not count
ROWS = 40
AS_OF = date(2025, 7, 31)
SPLICES = (
    b"\0", b'"', b'""', b",", b";", b"\t", b"|", b"\r", b"\n", b"\r\n", b"\xef\xbb\xbf", b"\xff\xfe", b"\xc3",
    b"\x92", b"\x8d", b"PK\x03\x04", b"PAR1", b"\xe2\x80\x8b", b"\xd9\xa3", b"1e999", b"NaN", b"inf", b"-", b"(",
    b"9" * 26, b"0000-00-00", b"31/31/2025", b"2025-02-30", b"25:61", b"=1+1", b"Total", b"TEST", b"End of report",
    b"," * 400,
    b'"' * 99, b"x" * 30_000, b"9" * 5_000, b"\n" * 300, b"\xf0\x9f\x98\x80", b"\x1a", b"\x85", b"\xe2\x80\xa8",
)  # fmt: skip


@cache
def originals() -> dict[str, bytes]:
    """Small whole files by kind: the first rows of the sample's files."""
    samples = {name: files.read_bytes("sample_data", f"{name}.csv").splitlines(True) for name in FILE_NAMES}
    samples["hours"][0] = b"employee_id,unit,period_start,period_end,pay_code,hours,role,source\n"
    return {name: b"".join(lines[: ROWS + 1]) for name, lines in samples.items()}


def dressed(content: bytes, random: np.random.Generator) -> bytes:
    """The content in one of the encodings, delimiters and line ends that exports come in, or as Parquet."""
    text = content.decode("cp1252")
    if random.random() < 0.08:
        out = io.BytesIO()
        pq.write_table(pa_csv.read_csv(io.BytesIO(text.encode("utf-8"))), out)
        return out.getvalue()
    if random.random() < 0.4:
        text = text.replace(",", str(random.choice([";", "\t", "|"])))
    if random.random() < 0.3:
        text = text.replace("\n", str(random.choice(["\r\n", "\r"])))
    if random.random() < 0.2:
        text = "Report of the system\n\n" + text
    return text.encode(str(random.choice(["utf-8", "utf-8", "utf-8-sig", "utf-16", "cp1252"])))


def _splice(content: bytes, random: np.random.Generator) -> bytes:
    at = int(random.integers(len(content) + 1))
    return content[:at] + SPLICES[random.integers(len(SPLICES))] + content[at:]


def _flip(content: bytes, random: np.random.Generator) -> bytes:
    changed = bytearray(content)
    for at in random.integers(len(content), size=random.integers(1, 9)):
        changed[at] = random.integers(256)
    return bytes(changed)


def _cut(content: bytes, random: np.random.Generator) -> bytes:
    return content[: random.integers(len(content))]


def _drop(content: bytes, random: np.random.Generator) -> bytes:
    one, other = sorted(random.integers(len(content) + 1, size=2))
    return content[:one] + content[other:]


def _repeat(content: bytes, random: np.random.Generator) -> bytes:
    one, other = sorted(random.integers(len(content) + 1, size=2))
    return content[:other] + content[one:other] * int(random.integers(1, 4)) + content[other:]


def _shuffle(content: bytes, random: np.random.Generator) -> bytes:
    lines = content.split(b"\n")
    return b"\n".join(lines[place] for place in random.permutation(len(lines)))


def _cells(content: bytes, random: np.random.Generator) -> bytes:
    """A splice in place of some cells, so that the row keeps its shape."""
    cells = content.split(b",")
    for place in random.integers(len(cells), size=random.integers(1, 6)):
        cells[place] = SPLICES[random.integers(len(SPLICES))]
    return b",".join(cells)


DAMAGE: tuple[Callable[[bytes, np.random.Generator], bytes], ...] = (
    _splice, _splice, _flip, _cut, _drop, _repeat, _shuffle, _cells, _cells,
)  # fmt: skip


def damaged(content: bytes, random: np.random.Generator, most: int = 4) -> bytes:
    """One to ``most`` damages, one upon the other."""
    for _ in range(random.integers(1, most + 1)):
        if content:
            content = DAMAGE[random.integers(len(DAMAGE))](content, random)
    return content


def way_of_writing(delimiter: str, random: np.random.Generator) -> Style:
    comma = (None, True, False)[random.integers(3)]
    return Style(
        date_order=str(random.choice(DATE_ORDERS)),
        hours_as=str(random.choice(HOURS_AS)),
        zero_pad=int(random.integers(0, 8)),
        decimal_comma=comma,
        delimiter=delimiter,
        codes={"status": {"88": "passed"}, "employee_id": {"0": "", "a": "b"}} if random.random() < 0.3 else {},
    )


def read_one(name: str, path: Path, random: np.random.Generator) -> None:
    """Read a file to its end; the rows must add up."""
    one = contract(name)
    dialect = examine(path, one, {})
    reader = FileReader(dialect, one, way_of_writing(dialect.delimiter, random))
    used = sum(batch.num_rows for batch in reader.batches())
    tally = reader.tally
    accounted = tally.used + tally.set_aside.total() + tally.excluded.total()
    if not (used == tally.used and tally.rows_in == accounted):
        raise AssertionError(f"{tally.rows_in} rows came in, {accounted} are accounted for, {used} were given on")


def check_one(name: str, content: bytes, folder: Path) -> None:
    """The whole check of the hand facility with one damaged file."""
    program = read_program(facility.write(folder, **{name: content}))
    review.check(program, AS_OF)


def one_case(seed: int, number: int, folder: Path) -> str:
    """Read one damaged file; raises where it ends in anything but a reading or a sentence, or takes too long."""
    random = np.random.Generator(np.random.PCG64([seed, number]))
    whole = number % WHOLE_CHECK == 0
    kinds = ("incidents", "hours", "training") if whole else FILE_NAMES
    name = str(random.choice(kinds))
    plain = {"incidents": facility.INCIDENTS, "hours": facility.HOURS, "training": facility.TRAINING}
    content = plain[name].encode("ascii") if whole else originals()[name]
    content = damaged(dressed(content, random), random, most=1 if whole else 4)
    label = "whole check" if whole else name
    started = time.process_time()
    try:
        if whole:
            check_one(name, content, folder / "facility")
        else:
            path = folder / f"{name}.csv"
            path.write_bytes(content)
            read_one(name, path, random)
        end = "read, rows add up"
    except DataProblem as problem:
        if not str(problem).strip():
            raise AssertionError("refused without a word") from problem
        end = "refused in a sentence"
    took = time.process_time() - started
    if took > TOO_LONG:
        raise AssertionError(f"{label}: {took:.1f} s")
    return f"{label}: {end}"


def about(cases: int, seed: int) -> tuple[str, ...]:
    """What was run and what was held."""
    return (
        "# Damaged files through the reader",
        "",
        f"`python tests/bench/fuzz_reader.py --cases {cases} --seed {seed}`; pyarrow {version('pyarrow')}, polars "
        f"{version('polars')}, Python {sys.version.split()[0]}.",
        "",
        "Ways out: a reading whose rows add up, or a problem told in a sentence (exit code 4).",
    )


if __name__ == "__main__":
    command(one_case, result=RESULT, cases=20_000, batch=BATCH, about=about)
