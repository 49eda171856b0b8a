"""What kept rows cost: bytes of eight quarterly builds of the sample, and seconds for millions of hour rows.

    python tests/bench/snapshots.py [--rows 10000000] [--work DIR]

Writes ``tests/bench/SNAPSHOTS.md``. Exports of each quarter are the sample's rows up to its end.
"""

from __future__ import annotations

import argparse
import csv
import io
import platform
import re
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import duckdb

from handling_review import files, review
from handling_review.history import hour_chunks
from handling_review.intake.contracts import contract
from handling_review.intake.hours_rows import PLAIN, code_plain_rows
from handling_review.program import read_program
from handling_review.store.database import Store

HERE = Path(__file__).resolve().parent
DAY_COLUMN = {
    "hours.csv": "Period End", "incidents.csv": "event_date", "training.csv": "completed_on",
    "observations.csv": "observed_on", "exposure.csv": "period_end",
}  # fmt: skip
QUARTER_ENDS = tuple(
    date(year + (month == 12), month % 12 + 1, 1) - timedelta(days=1)
    for year in (2024, 2025, 2026)
    for month in (3, 6, 9, 12)
)[2:10]


def exports_until(last: date, folder: Path) -> Path:
    """The sample's files with the rows up to a day; returns the program file."""
    folder.mkdir(parents=True)
    for name in files.names("sample_data"):
        if name.endswith(".png"):
            continue
        data = files.read_bytes("sample_data", name)
        if name in DAY_COLUMN:
            data = _until(data, DAY_COLUMN[name], last)
        if name == "program.toml":
            text = data.decode("utf-8")
            text = re.sub(r"(?m)^(end|log_complete_through) = .*$", rf"\1 = {last}", text)
            text = re.sub(r"(?m)^(as_of|hours_complete_through) = .*$", rf"\1 = {last + timedelta(days=20)}", text)
            data = text.encode("utf-8")
        (folder / name).write_bytes(data)
    return folder / "program.toml"


def _until(data: bytes, column: str, last: date) -> bytes:
    text = data.decode("cp1252" if b"\xe9" in data else "utf-8-sig", errors="replace")
    rows = list(csv.DictReader(io.StringIO(text)))
    kept = [row for row in rows if _day(row[column]) <= last + timedelta(days=20 if column == "Period End" else 0)]
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(kept)
    return out.getvalue().encode("utf-8")


def _day(text: str) -> date:
    try:
        if "/" in text:
            month, day, year = (int(part) for part in text.split("/"))
            return date(year, month, day)
        return date.fromisoformat(text)
    except ValueError:
        return date.max


def eight_builds(work: Path) -> list[tuple[str, int, int, int, int, float]]:
    """Day, bytes of inputs, of all kept rows as copies, of new chunks, of history in the database, seconds to build."""
    found, seen = [], set()
    for last in QUARTER_ENDS:
        program = exports_until(last, work / f"exports-{last}")
        out = work / f"review-{last + timedelta(days=20)}"
        begun = time.perf_counter()
        review.build(read_program(program), last + timedelta(days=20), out)
        seconds = time.perf_counter() - begun
        inputs = sum(p.stat().st_size for p in program.parent.iterdir() if p.suffix == ".csv")
        held = list((out / "snapshots").iterdir())
        fresh = [p for p in held if p.stat().st_ino not in seen]
        seen |= {p.stat().st_ino for p in held}
        with duckdb.connect(str(out / "review.duckdb"), read_only=True) as con:
            names = [n for (n,) in con.execute("SELECT DISTINCT content FROM history_chunks WHERE review = (SELECT "
                "max(review) FROM history_chunks) UNION SELECT DISTINCT places FROM history_chunks WHERE review = "
                "(SELECT max(review) FROM history_chunks)").fetchall()]  # fmt: skip
            history = sum(
                con.execute(f"SELECT count(DISTINCT block_id) FROM pragma_storage_info('{table}')").fetchall()[0][0]
                for table in ("history_reviews", "history_numbers", "history_chunks", "history_removals")
            )
        whole = sum((out / "snapshots" / f"{name}.parquet").stat().st_size for name in names)
        found.append((str(last), inputs, whole, sum(p.stat().st_size for p in fresh), history * 262_144, seconds))
    return found


def many_rows(rows: int, work: Path) -> list[tuple[str, int, float, int]]:
    """Rows, seconds and new bytes of keeping 40 quarters for the first time, and again after one more."""
    found: list[tuple[str, int, float, int]] = []
    sources: list[Path] = []
    each = rows // 40
    columns = [(f.name, f.duckdb_type) for f in contract("hours").fields]
    for step, quarters in enumerate((40, 41)):
        with Store(work / f"many-{step}.duckdb", work / "spill") as store:
            store.create(PLAIN, [*columns, ("record", "BIGINT"), ("line", "BIGINT"), ("file_no", "INTEGER")])
            store.execute(
                f"INSERT INTO {PLAIN} SELECT 'e' || (hash(i) % 20000), 'unit ' || (hash(i, 1) % 200), "
                "CAST(make_date(2014, 1, 1) + to_months(3 * (i // $1)::INTEGER) AS DATE), CAST(make_date(2014, 1, 14) "
                "+ to_months(3 * (i // $1)::INTEGER) AS DATE), NULL, (hash(i, 2) % 8000) / 100, 'Nurse aide', 'REG', "
                "'payroll', i, i + 1, 1 FROM range($1 * $2) AS r(i)",
                (each, quarters),
            )
            code_plain_rows(store)
            folder = work / f"kept-{step}"
            begun = time.perf_counter()
            hour_chunks.keep(store, folder, sources)
            seconds = time.perf_counter() - begun
        fresh = [p for p in folder.iterdir() if p.stat().st_nlink == 1]
        name = "first build, 40 quarters" if step == 0 else "next build, one quarter more"
        found.append((name, each * quarters, seconds, sum(p.stat().st_size for p in fresh)))
        sources = [folder]
    return found


def main() -> None:
    """Measure and write the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--rows", type=int, default=10_000_000)
    asked.add_argument("--work", type=Path)
    options = asked.parse_args()
    with tempfile.TemporaryDirectory(dir=options.work) as folder:
        builds = eight_builds(Path(folder))
        scale = many_rows(options.rows, Path(folder))
    lines = [
        "# What kept rows cost",
        "",
        "`python tests/bench/snapshots.py`",
        "",
        "## Eight quarterly builds of the sample",
    ]
    lines += ["", "| quarter to | input files, bytes | kept rows if copied | new in this build | history |",
              "|---|---|---|---|---|"]  # fmt: skip
    lines += [f"| {d} | {i:,} | {w:,} | {n:,} | {h:,} |" for d, i, w, n, h, _ in builds]
    total = [sum(one[place] for one in builds) for place in (1, 2, 3)]
    lines += [f"| all eight | {total[0]:,} | {total[1]:,} | {total[2]:,} | {builds[-1][4]:,} (last) |", ""]
    lines += [
        f"Eight copies of the input files take {total[0] / total[2]:.1f} times the bytes of the kept rows; eight "
        f"copies of the kept rows without sharing {total[1] / total[2]:.1f} times. History: blocks of 256 KiB "
        "that its four tables touch in the last review (the numbers published, settings, findings of all eight).",
        "",
        "## Many hour rows",
        "",
        f"{platform.machine()}, 2 threads, 1 GB for DuckDB; rows sorted by period.",
        "",
        "| | rows | seconds to keep | new bytes |",
        "|---|---|---|---|",
    ]
    lines += [f"| {name} | {rows:,} | {seconds:.1f} | {size:,} |" for name, rows, seconds, size in scale]
    (HERE / "SNAPSHOTS.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
