"""Twenty thousand damaged files through the reader: nothing but a sentence may come back, quickly, in bounded memory.

Run: python tests/bench/fuzz_reader.py [--cases 20000] [--seed 1]

Two processes; a full run writes FUZZ_READER.md beside this file. Each case takes a small good file of one contract and
damages its bytes: flips, deletions, insertions of quotes, delimiters, line ends, NUL, byte order marks, invalid UTF-8
and UTF-16, shuffled lines, cut ends, huge cells. The file is then examined and read like any other. One case in 50 goes
through the whole check of a small facility.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import resource
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from handling_review import review
from handling_review.intake.contracts import Contract, contract
from handling_review.intake.dialect import examine
from handling_review.intake.reading import FileReader
from handling_review.intake.values import Style
from handling_review.problems import ReviewProblem
from handling_review.program import FILE_NAMES, read_program
from whole import facility

TABLE = Path(__file__).with_name("FUZZ_READER.md")
SLOW_SECONDS = 5.0
PIECES = (
    *(b'"', b'""', b",", b";", b"\t", b"|", b"\n", b"\r\n", b"\r", b"\0", b"-"),
    *(b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff", b"\x92", b"\x81", b"\xc3", b"\xf0\x9f", b"\xe2\x80\x8f"),
    *(b"=1+1", b"Total", b"Page 1 of 3", b"TEST", b"1E+05", b"nan", b"inf", b"9" * 400, b"x" * 70_000),
    *(b"2025-02-30", b"03/04/25", b"(8.00)", b"1.234,5", b"PK\x03\x04", b"PAR1"),
)


@dataclass
class Result:
    """What a share of the cases came to."""

    outcomes: Counter[str] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)
    longest: float = 0.0
    peak_mib: float = 0.0


def good_file(one: Contract, rng: random.Random) -> bytes:
    """A small good file: the contract's own examples, with a few rows varied."""
    rows = [one.names, *([f.example for f in one.fields] for _ in range(rng.randint(1, 30)))]
    return "\n".join(",".join(f'"{c}"' if "," in c or rng.random() < 0.1 else c for c in row) for row in rows).encode()


def damaged(data: bytes, rng: random.Random) -> bytes:
    """The file after one to six random kinds of damage."""
    for _ in range(rng.randint(1, 6)):
        kind, at = rng.randrange(9), rng.randrange(len(data) + 1)
        if kind == 0 and data:
            data = data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
        elif kind == 1:
            data = data[:at] + data[at + rng.randint(1, 40) :]
        elif kind in (2, 3, 4):
            data = data[:at] + rng.choice(PIECES) + data[at:]
        elif kind == 5:
            lines = data.split(b"\n")
            rng.shuffle(lines)
            data = b"\n".join(lines)
        elif kind == 6:
            data = data[: rng.randrange(len(data) + 1)]
        elif kind == 7:
            data = data.replace(b"\n", rng.choice((b"\r", b"\r\n", b"\n\n")))
        else:
            data = data.decode("utf-8", "replace").encode(
                rng.choice(("utf-16", "utf-16-le", "cp1252", "utf-8-sig")), "replace"
            )
    return data


def read_one(path: Path, one: Contract, style: Style) -> str:
    """Read a file to its end; the kind of answer."""
    dialect = examine(path, one, {})
    reader = FileReader(dialect, one, style)
    rows = sum(batch.num_rows for batch in reader.batches())
    tally = reader.tally
    accounted = tally.used + sum(tally.set_aside.values()) + sum(tally.excluded.values())
    if rows != tally.used or accounted != tally.rows_in:
        raise AssertionError(f"{tally.rows_in} rows in, {accounted} accounted for, {rows} handed on")
    return "read" if tally.rows_in == tally.used else "read, rows left out"


def share(task: tuple[int, int]) -> Result:
    """Run ``cases`` cases from one seed."""
    seed, cases = task
    rng, result = random.Random(seed), Result()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(cases):
            name = rng.choice(FILE_NAMES)
            one = contract(name)
            style = Style(date_order=rng.choice(("iso", "mdy", "dmy", "serial")), decimal_comma=rng.random() < 0.3)
            start = time.perf_counter()
            try:
                if number % 50 == 0:
                    which = rng.choice(("incidents", "hours", "training"))
                    text = getattr(facility, which.upper()).encode()
                    program = read_program(facility.write(Path(folder), **{which: damaged(text, rng)}))
                    review.check(program, date(2025, 7, 31))
                    answer = "checked"
                else:
                    path = Path(folder) / f"{name}.csv"
                    path.write_bytes(damaged(good_file(one, rng), rng))
                    answer = read_one(path, one, style)
            except ReviewProblem as problem:
                answer = "refused with a sentence"
                if problem.exit_code != 4 or not str(problem).strip():
                    result.failures.append(f"seed {seed}, case {number}: {problem!r}")
            except Exception as fault:
                answer = "FAILED"
                result.failures.append(f"seed {seed}, case {number}: {type(fault).__name__}: {str(fault)[:200]}")
            took = time.perf_counter() - start
            if took > SLOW_SECONDS:
                result.failures.append(f"seed {seed}, case {number}: {took:.1f} s")
            result.longest = max(result.longest, took)
            result.outcomes[answer] += 1
    result.peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return result


def table(results: list[Result], cases: int, seed: int) -> str:
    """The committed summary."""
    outcomes: Counter[str] = sum((r.outcomes for r in results), Counter())
    failures = [line for r in results for line in r.failures]
    lines = [
        "# Damaged files through the reader",
        "",
        f"`python tests/bench/fuzz_reader.py --cases {cases} --seed {seed}`, two processes.",
        "",
        "| what | value |",
        "|---|---|",
        f"| cases | {sum(outcomes.values()):,} |",
        *(f"| {name} | {count:,} |" for name, count in sorted(outcomes.items())),
        f"| failures (any other exception, rows unaccounted for, over {SLOW_SECONDS:g} s) | {len(failures)} |",
        f"| longest case, seconds | {max(r.longest for r in results):.2f} |",
        f"| peak memory of a process, MiB | {max(r.peak_mib for r in results):.0f} |",
    ]
    return "\n".join([*lines, *(f"\n- {line}" for line in failures[:20])]) + "\n"


def main() -> int:
    """Run the campaign; exit code 1 if anything failed."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    options.add_argument("--cases", type=int, default=20_000)
    options.add_argument("--seed", type=int, default=1)
    asked = options.parse_args()
    half = asked.cases // 2
    tasks = [(2 * asked.seed, half), (2 * asked.seed + 1, asked.cases - half)]
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        results = pool.map(share, tasks)
    text = table(results, asked.cases, asked.seed)
    print(text)
    if asked.cases >= 20_000:
        TABLE.write_text(text, encoding="utf-8")
    return 1 if any(r.failures for r in results) else 0


if __name__ == "__main__":
    raise SystemExit(main())
