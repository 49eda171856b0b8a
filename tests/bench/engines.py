"""Seconds of the person-time stage on DuckDB and on a local Spark, for one facility; holds every row against its twin.

python tests/bench/engines.py --rows 1e6        # needs the extra `spark` and Java 17
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench import scale
from handling_review import review
from handling_review.program import read_program
from handling_review.store.database import Store
from handling_review.store.engine import FILE, DuckDBEngine
from handling_review.store.portable import translated
from handling_review.store.spark import add_up, private_folder, session

ROWS = "SELECT person, cell_no, kind_no, hours_e8 FROM work.person_time ORDER BY ALL"


class Timed:
    """Builds person-time several times with either engine, and prints how long each took."""

    label = ""

    def __init__(self, repeats: int, master: str) -> None:
        self._repeats, self._master = repeats, master

    def build_person_time(self, store: Store) -> None:
        for _ in range(self._repeats):
            with told("DuckDB"):
                DuckDBEngine().build_person_time(store)
            ours = store.fetch(ROWS)
            store.execute("DROP TABLE work.person_time")
        started = time.perf_counter()
        with private_folder(store.temporary) as folder, session(self._master, folder) as spark:
            print(f"Spark, start of Java: {time.perf_counter() - started:.2f} s")
            for _ in range(self._repeats):
                (folder / "run").mkdir()
                with told("Spark, inputs written, summed, read back"):
                    add_up(spark, translated(FILE), store, folder / "run")
                size = sum(path.stat().st_size for path in (folder / "run").glob("*.parquet"))
                shutil.rmtree(folder / "run")
                theirs = store.fetch(ROWS)
                store.execute("DROP TABLE work.person_time")
        different = len(set(ours) ^ set(theirs)) + abs(len(ours) - len(theirs))
        print(
            f"inputs as Parquet: {size / 1e6:,.1f} MB; rows of person-time compared: {len(ours):,}, differ: {different}"
        )
        DuckDBEngine().build_person_time(store)


@contextmanager
def told(what: str) -> Iterator[None]:
    begun = time.perf_counter()
    yield
    print(f"{what}: {time.perf_counter() - begun:.2f} s", flush=True)


def main() -> None:
    """Make the facility, read it, and time the stage."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--rows", type=float, default=1e6)
    asked.add_argument("--master", default="local[2]")
    asked.add_argument("--repeats", type=int, default=3)
    asked.add_argument("--work", type=Path)
    options = asked.parse_args()
    with tempfile.TemporaryDirectory(dir=options.work) as work:
        scale.facility(Path(work) / "facility", int(options.rows), "parquet")
        print(f"{int(options.rows):,} hour rows, {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
        program, both = read_program(Path(work) / "facility" / "program.toml"), Timed(options.repeats, options.master)
        review.measured(program, date(2026, 1, 20), Path(work), engine=both)


if __name__ == "__main__":
    main()
