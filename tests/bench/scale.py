"""How long and how large a build gets, from a million hour rows to a hundred million; writes SCALE.md beside itself.

    python tests/bench/scale.py                                   # 1 and 10 million rows, CSV and Parquet
    python tests/bench/scale.py --rows 1e6 1e7 1e8 --work /big    # the whole table: about 40 GB of disk

Every figure is a process of its own: wall seconds, processor seconds (all threads), peak resident memory as the system
counts it. Beside each build stands what DuckDB needs to scan the same file as text on two threads, and, up to
``--pandas-up-to`` rows, a practitioner's notebook (``scale_pandas.py``), whose numbers must be those of the review; the
stages of the largest builds (``profile_build.py``); pandera on every row against distinct values (``scale_reading.py``)
on a damaged file, which must find the same; and the commands a newcomer runs.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import duckdb

HERE = Path(__file__).parent
DAYS, NEXT_DAYS = 1461, 90  # 2022 to 2025, and the first quarter of 2026 for the second build
STAFF_SHIFTS = 5 / 7  # of the days that a person is on the staff
PROGRAM = """[facility]
name = "Scale"
[review]
start = 2022-01-01
end = {end}
[files]
incidents = "incidents.csv"
hours = {hours}
training = "training.csv"
"""
HOURS = """
SELECT printf('E%06d', (p * 7919 + d * 104729) % {staff}) AS employee_id,
    printf('U%02d', ((p * 7919 + d * 104729) % {staff}) % 20) AS unit,
    DATE '2022-01-01' + d::INTEGER AS period_start, DATE '2022-01-01' + d::INTEGER AS period_end,
    ['7.5', '8.0', '8', '12.0', '4.0', '6.25', '7.75'][(1 + hash(p, d) % 7)::INTEGER] AS hours
FROM (SELECT i // {per_day} AS d, i % {per_day} AS p FROM range({first} * {per_day}, {last} * {per_day}) AS r(i))
"""
TRAINING = """
SELECT printf('E%06d', i) AS employee_id, 'Safe handling' AS course,
    DATE '2023-02-05' + (i % 20 * 30 + (hash(i) % 60)::INTEGER)::INTEGER AS completed_on, 'completed' AS status
FROM range({staff}) AS r(i)
WHERE i % 5 < 4
"""
CASES = """
SELECT 'C' || i AS case_number, printf('E%06d', hash(i) % {staff}) AS employee_id,
    printf('U%02d', hash(i) % {staff} % 20) AS unit, DATE '2022-01-01' + (hash(i, 1) % {days})::INTEGER AS event_date,
    ['days_away', 'restricted_or_transfer', 'other_recordable', 'first_aid'][(1 + hash(i, 2) % 4)::INTEGER] AS outcome,
    CASE WHEN hash(i, 3) % 5 < 3 THEN 'yes' ELSE 'no' END AS handling_related
FROM range({cases}) AS r(i)
"""
DAMAGED = """
SELECT employee_id, CASE WHEN hash(employee_id, period_start, 4) % 900 = 0 THEN NULL ELSE unit END AS unit,
    CASE WHEN hash(employee_id, period_start, 5) % 1100 = 0 THEN '2024-13-01' ELSE CAST(period_start AS VARCHAR) END
        AS period_start,
    period_end, CASE WHEN hash(employee_id, period_start, 6) % 700 = 0 THEN 'eight' ELSE hours END AS hours
FROM ({hours})
"""
READ = """
import sys
with open(sys.argv[1], "rb", buffering=0) as file:
    while file.read(1 << 24):
        pass
"""
SCAN = """
import sys, duckdb
con = duckdb.connect(config={"threads": 2})
columns = "employee_id VARCHAR, unit VARCHAR, period_start VARCHAR, period_end VARCHAR, hours VARCHAR".split(", ")
shape = ", ".join("'%s': '%s'" % tuple(one.split()) for one in columns)
source = "read_csv(?, header=true, auto_detect=false, delim=',', quote='', columns={%s})" % shape
if sys.argv[1].endswith(".parquet"):
    source = "read_parquet(?)"
lengths = " + ".join("length(CAST(%s AS VARCHAR))" % one.split()[0] for one in columns)
print(con.execute(f"SELECT count(*), sum({lengths}) FROM {source}", [sys.argv[1]]).fetchall())
"""


@dataclass(frozen=True)
class Cost:
    """One process: wall seconds, processor seconds, peak memory in MiB, and what it printed."""

    wall: float
    processor: float
    mib: float
    told: str = ""


def run(command: list[str], ends: tuple[int, ...] = (0,)) -> Cost:
    """Run a command to its end; raises ``SystemExit`` with its message if it ends with another code than these."""
    begun = time.perf_counter()
    with tempfile.TemporaryFile("w+") as out, tempfile.TemporaryFile("w+") as errors:
        process = subprocess.Popen(command, stdout=out, stderr=errors, env=os.environ)
        _, status, usage = os.wait4(process.pid, 0)
        wall = time.perf_counter() - begun
        process.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        errors.seek(0)
        if process.returncode not in ends:
            raise SystemExit(f"{' '.join(command)}: exit code {process.returncode}\n{errors.read()[-2000:]}")
        unit = 1 << 20 if sys.platform == "darwin" else 1 << 10
        return Cost(wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / unit, out.read())


def median(repeats: int, once: Callable[[], Cost]) -> Cost:
    """The run of middle wall time."""
    found = sorted((once() for _ in range(repeats)), key=lambda one: one.wall)
    return found[statistics.median_low(range(len(found)))]


def facility(folder: Path, rows: int, kind: str) -> None:
    """Write a facility of about so many hour rows, and one quarter more in a second file."""
    folder.mkdir(parents=True)
    per_day = max(1, -(-rows // DAYS))
    staff = max(50, int(per_day / STAFF_SHIFTS))
    how = "(FORMAT parquet, COMPRESSION zstd, ROW_GROUP_SIZE 122880)" if kind == "parquet" else "(FORMAT csv, HEADER)"
    numbers = {"staff": staff, "per_day": per_day, "days": DAYS, "cases": max(300, staff // 6)}
    with duckdb.connect(config={"threads": 2, "temp_directory": str(folder / "spill")}) as con:
        for name, first, last in (("hours", 0, DAYS), ("hours-next", DAYS, DAYS + NEXT_DAYS)):
            sql = HOURS.format(**numbers, first=first, last=last)
            if kind == "parquet":
                sql = f"SELECT * REPLACE (hours::DOUBLE AS hours) FROM ({sql})"
            con.execute(f"COPY ({sql}) TO '{folder / name}.{kind}' {how}")
        for name, sql in (("training", TRAINING), ("incidents", CASES)):
            con.execute(f"COPY ({sql.format(**numbers)}) TO '{folder / name}.csv' (FORMAT csv, HEADER)")
    program(folder, [f"hours.{kind}"], "2025-12-31")


def damaged(folder: Path, rows: int) -> None:
    """Write one CSV file of hours in which about 3 in 1,000 rows have a bad cell."""
    folder.mkdir(parents=True)
    per_day = max(1, -(-rows // DAYS))
    hours = HOURS.format(staff=max(50, int(per_day / STAFF_SHIFTS)), per_day=per_day, first=0, last=DAYS)
    with duckdb.connect(config={"threads": 2, "temp_directory": str(folder / "spill")}) as con:
        con.execute(f"COPY ({DAMAGED.format(hours=hours)}) TO '{folder / 'hours.csv'}' (FORMAT csv, HEADER)")


def program(folder: Path, hours: Iterable[str], end: str) -> None:
    """Write the program file of a facility for these files of hours."""
    (folder / "program.toml").write_text(PROGRAM.format(hours=json.dumps(list(hours)), end=end), encoding="utf-8")


def build(folder: Path, as_of: str) -> Cost:
    """Build the review of a facility."""
    command = [sys.executable, "-m", "handling_review", "build", str(folder / "program.toml")]
    return run([*command, "--as-of", as_of, "--out", str(folder / "review")])


def disagreements(folder: Path, told: str) -> list[str]:
    """Where the notebook's numbers are not those of the review; hours to a ten-thousandth, the ratio to 1e-9."""
    theirs = json.loads(told)
    with (folder / "review" / "tables" / "before_after.csv").open(encoding="utf-8") as file:
        ours = next(row for row in csv.DictReader(file) if row["series"] == "handling")
    pairs = [
        ("cases after", float(ours["cases_compared"]), theirs["cases"]["after"], 0.0),
        ("cases before", float(ours["cases_with"]), theirs["cases"]["before"], 0.0),
        ("hours after", float(ours["hours_worked_compared"]), theirs["hours"]["after"], 1e-4),
        ("hours before", float(ours["hours_worked_with"]), theirs["hours"]["before"], 1e-4),
        ("ratio", float(ours["rate_ratio"]), theirs["ratio"], 1e-9),
    ]
    return [f"{name}: review {a}, notebook {b}" for name, a, b, within in pairs if abs(a - b) > within]


@dataclass
class Tables:
    """Lines of the tables, as they come."""

    builds: list[str]
    stages: list[str]
    sizes: dict[str, list[tuple[int, Cost]]]


def measured(rows: int, kind: str, work: Path, repeats: int, tables: Tables, *, notebook: bool) -> None:
    """Add the lines of one size and format."""
    folder = work / f"{kind}-{rows}"
    facility(folder, rows, kind)
    file = str(folder / f"hours.{kind}")
    touched = median(repeats, lambda: run([sys.executable, "-c", READ, file]))
    scan = median(repeats, lambda: run([sys.executable, "-c", SCAN, file]))

    def fresh() -> Cost:
        shutil.rmtree(folder / "review", ignore_errors=True)
        return build(folder, "2026-01-20")

    first = median(repeats, fresh)
    theirs = None
    if notebook:
        theirs = median(repeats, lambda: run([sys.executable, str(HERE / "scale_pandas.py"), str(folder)]))
        if wrong := disagreements(folder, theirs.told):
            raise SystemExit("the notebook and the review disagree: " + "; ".join(wrong))
    stages = json.loads(run([sys.executable, str(HERE / "profile_build.py"), str(folder), "2026-01-20"]).told)
    tables.stages += [
        f"| {rows:,} | {kind} | {stage} | {processor:.1f} | {wall:.1f} | {1e6 * processor / rows:.2f} |"
        for stage, (processor, wall) in stages.items()
    ]
    program(folder, [f"hours.{kind}", f"hours-next.{kind}"], "2026-03-31")
    second = build(folder, "2026-04-20")
    tables.sizes.setdefault(kind, []).append((rows, first))
    size = Path(file).stat().st_size
    shutil.rmtree(folder)
    beside = f"{theirs.wall:.1f} s, {theirs.mib:,.0f} MiB" if theirs else "not run"
    ratio = f"{theirs.wall / first.wall:.1f} x, {theirs.mib / first.mib:.1f} x" if theirs else "-"
    cells = [
        f"{rows:,}", kind, f"{size / 1e6:,.0f} MB", f"{touched.wall:.1f} s",
        f"{scan.wall:.1f} s ({scan.processor:.1f})",
        f"{first.wall:.1f} s ({first.processor:.1f})", f"{first.mib:,.0f} MiB", f"{first.wall / scan.wall:.1f}",
        f"{1e6 * first.processor / rows:.2f}", f"{second.wall:.1f} s ({second.processor:.1f})", beside, ratio,
    ]  # fmt: skip
    tables.builds.append("| " + " | ".join(cells) + " |")
    print(tables.builds[-1], flush=True)


def added_rows(sizes: dict[str, list[tuple[int, Cost]]]) -> list[str]:
    """Lines of what one more row costs between two sizes, which leaves out what no row adds to."""
    return [
        f"| {kind} | {few:,} to {many:,} | {1e6 * (b.processor - a.processor) / (many - few):.2f} | "
        f"{1e6 * (b.wall - a.wall) / (many - few):.2f} |"
        for kind, found in sizes.items()
        for (few, a), (many, b) in itertools.pairwise(found)
    ]


def readings(rows: int, work: Path, repeats: int) -> list[str]:
    """Lines of pandera on every row against distinct values, on one damaged file; they must find the same."""
    folder = work / "damaged"
    damaged(folder, rows)
    found: dict[str, Cost] = {}
    for way in ("chunks", "distinct"):
        command = [sys.executable, str(HERE / "scale_reading.py"), way, str(folder)]
        found[way] = median(repeats, lambda command=command: run(command))  # type: ignore[misc]
    shutil.rmtree(folder)
    if found["chunks"].told != found["distinct"].told:
        raise SystemExit(f"the two ways of reading disagree: {found['chunks'].told} {found['distinct'].told}")
    names = {
        "chunks": "pandera on every row, chunks of 500,000",
        "distinct": "distinct values of a block, rows numbered",
    }
    return [f"| {names[way]} | {c.wall:.1f} s ({c.processor:.1f}) | {c.mib:,.0f} MiB |" for way, c in found.items()] + [
        "", f"Both found: `{found['distinct'].told.strip()}`",
    ]  # fmt: skip


def commands(work: Path, repeats: int) -> list[str]:
    """Lines of what a newcomer runs first."""
    tool = [sys.executable, "-m", "handling_review"]
    sample = work / "newcomer"

    def demo() -> Cost:
        shutil.rmtree(sample, ignore_errors=True)
        return run([*tool, "demo", str(sample)])

    found = {"`demo`": median(repeats, demo)}
    program_file = str(HERE.parents[1] / "sample_data" / "program.toml")
    found["`check` of the sample"] = median(repeats, lambda: run([*tool, "check", program_file], (0, 1)))
    found["`--help`"] = median(repeats, lambda: run([*tool, "--help"]))
    return [f"| {name} | {c.wall:.2f} s ({c.processor:.2f}) | {c.mib:,.0f} MiB |" for name, c in found.items()]


def main() -> None:
    """Measure and write the table."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--rows", type=float, nargs="+", default=[1e6, 1e7])
    asked.add_argument("--kinds", nargs="+", choices=("csv", "parquet"), default=["csv", "parquet"])
    asked.add_argument("--pandas-up-to", type=float, default=1e7)
    asked.add_argument("--repeats", type=int, default=3)
    asked.add_argument("--work", type=Path)
    asked.add_argument("--table", type=Path, default=HERE / "SCALE.md")
    options = asked.parse_args()
    tables = Tables([], [], {})
    with tempfile.TemporaryDirectory(dir=options.work) as folder:
        work = Path(folder)
        newcomer = commands(work, options.repeats)
        read = readings(int(min(max(options.rows), 1e7)), work, options.repeats)
        for rows in options.rows:
            for kind in options.kinds:
                notebook = rows <= options.pandas_up_to
                measured(int(rows), kind, work, options.repeats, tables, notebook=notebook)
    asked_for = " ".join(f"{rows:g}" for rows in options.rows)
    read_rows = f"{int(min(max(options.rows), 1e7)):,}"
    lines = [
        "# What a build costs", "", f"`python tests/bench/scale.py --rows {asked_for}`", "",
        f"{platform.machine()}, {os.cpu_count()} processors, {platform.system()}, Python {platform.python_version()}, "
        f"DuckDB {duckdb.__version__}; medians of {options.repeats} processes. In brackets: processor seconds, all "
        "threads. Peak: resident memory as the system counts it (`/usr/bin/time -v`). Next quarter: a second build "
        "after one more file of 90 days.", "",
        "| hour rows | format | file | read its bytes | scan as text | build | peak | build / scan | "
        "µs of processor a row | next quarter | notebook | notebook / build: time, memory |",
        "|" + "---|" * 12, *tables.builds, "",
        "## What one more row costs", "",
        "| format | rows | µs of processor | µs of wall time |", "|---|---|---|---|", *added_rows(tables.sizes), "",
        "## Where the time goes", "",
        "| hour rows | format | stage | processor seconds | wall seconds | µs of processor a row |",
        "|" + "---|" * 6, *tables.stages, "",
        "## The contract on every row, or on distinct values", "",
        f"{read_rows} rows, CSV, about 3 in 1,000 with a bad cell; reading and judging only.", "",
        "| way | time | peak |", "|---|---|---|", *read, "",
        "## A newcomer's first commands", "",
        "| command | time | peak |", "|---|---|---|", *newcomer,
    ]  # fmt: skip
    options.table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"Written: {options.table}")


if __name__ == "__main__":
    main()
