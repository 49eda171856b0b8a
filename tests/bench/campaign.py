"""A campaign of random cases over two processes: what became of each, the slowest, the peak of memory."""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

OneCase = Callable[[int, int, Path], str]  # seed, number, a folder of its own -> how it ended; raises where it fails


@dataclass
class Seen:
    """How cases ended, failures told with their number, the longest case, the peak of memory of a process."""

    ends: Counter[str] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)
    longest: float = 0.0
    longest_case: int = -1
    peak_mb: float = 0.0
    seconds: float = 0.0

    def add(self, other: Seen) -> None:
        """Put what another process saw to this."""
        self.ends += other.ends
        self.failures += other.failures
        if other.longest > self.longest:
            self.longest, self.longest_case = other.longest, other.longest_case
        self.peak_mb = max(self.peak_mb, other.peak_mb)

    def lines(self) -> list[str]:
        """The figures as lines of Markdown."""
        ends = [f"| {end} | {count:,} |" for end, count in sorted(self.ends.items(), key=lambda one: (-one[1], one[0]))]
        return [
            f"{self.ends.total():,} cases in {self.seconds:,.0f} s on two processes; failures: {len(self.failures)}. "
            f"Peak memory of a process: {self.peak_mb:,.0f} MB. Longest case: {self.longest:.2f} s of processor time "
            f"(no. {self.longest_case}).",
            "",
            "| how it ended | cases |",
            "|---|---|",
            *ends,
            *(["", "Failures:", "", *(f"- {one}" for one in self.failures[:50])] if self.failures else []),
        ]


def run(one_case: OneCase, seed: int, cases: int, batch: int, processes: int = 2) -> Seen:
    """Run cases number 0 to ``cases`` - 1."""
    seen, began = Seen(), time.monotonic()
    starts = range(0, cases, batch)
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        for number, found in enumerate(pool.map(partial(_batch, one_case, seed, batch, cases), starts), start=1):
            seen.add(found)
            done = min(number * batch, cases)
            print(f"  {done:,} of {cases:,}, {len(seen.failures)} failures", flush=True)
    seen.seconds = time.monotonic() - began
    return seen


def command(
    one_case: OneCase, *, result: Path, cases: int, batch: int, about: Callable[[int, int], tuple[str, ...]]
) -> None:
    """Run a campaign as its command line asks, write its summary to ``result``, and end.

    ``about``: the lines that stand above the figures, given the number of cases and the seed.
    """
    asked = argparse.ArgumentParser()
    asked.add_argument("--cases", type=int, default=cases)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--case", type=int, help=f"run this one alone and keep its files in ./{result.stem.lower()}")
    asked.add_argument("--print", action="store_true", help="do not write the summary")
    chosen = asked.parse_args()
    if chosen.case is not None:
        folder = Path(result.stem.lower())
        folder.mkdir()
        print(one_case(chosen.seed, chosen.case, folder))
        return
    print(f"seed {chosen.seed}")
    seen = run(one_case, chosen.seed, chosen.cases, batch)
    text = "\n".join([*about(chosen.cases, chosen.seed), "", *seen.lines(), ""])
    print(text)
    if not chosen.print:
        result.write_text(text, encoding="utf-8", newline="\n")
    sys.exit(1 if seen.failures else 0)


def _batch(one_case: OneCase, seed: int, batch: int, cases: int, start: int) -> Seen:
    seen = Seen()
    for number in range(start, min(start + batch, cases)):
        began = time.process_time()
        with tempfile.TemporaryDirectory(prefix="campaign-") as folder:
            try:
                end = one_case(seed, number, Path(folder))
            except BaseException as error:  # a fault in a library of Rust ends as a panic, which is no Exception
                if isinstance(error, KeyboardInterrupt):
                    raise
                where = traceback.extract_tb(error.__traceback__)[-1]
                at = f"{Path(where.filename).name}:{where.lineno}"
                seen.failures.append(f"no. {number}: {type(error).__name__} at {at}: {str(error)[:400]}")
                end = "FAILED"
        seen.ends[end] += 1
        took = time.process_time() - began
        if took > seen.longest:
            seen.longest, seen.longest_case = took, number
    seen.peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return seen
