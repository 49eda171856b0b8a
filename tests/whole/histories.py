"""The facility worked by hand, reviewed more than once: what each step changes is known case by case, hour by hour."""

from __future__ import annotations

import re
import shutil
import tempfile
from datetime import date
from functools import cache
from pathlib import Path

import duckdb
import pandas as pd
import pyarrow.parquet as pq

from handling_review import review
from handling_review.program import read_program
from whole import facility

FIRST, SECOND, THIRD = date(2025, 7, 31), date(2025, 9, 30), date(2025, 12, 31)
LATE_CASE = "007,009,2025-06-20,North,days_away,3,0,toileting\n"
WITH_LATE_CASE = facility.INCIDENTS + LATE_CASE
LATE_HOURS = "010,South,2025-05-01,2025-05-31,70.5\n"


def build(home: Path, day: date, *, since: Path | None = None, **changed: str | bytes) -> Path:
    """Write the facility with the given files changed and build its review of that day, beside the others."""
    if day == FIRST and since is None and not changed:
        return Path(shutil.copytree(_unchanged_first(), home / f"review-{day}"))
    if changed == {"incidents": WITH_LATE_CASE} and day == SECOND and since is None and _holds_first_alone(home):
        return Path(shutil.copytree(_late_case_second(), home / f"review-{day}"))
    program = facility.write(home / f"exports-{day}", **changed)
    out = home / f"review-{day}"
    review.build(read_program(program), day, out, since=since)
    return out


@cache
def _unchanged_first() -> Path:
    """The first review of the unchanged facility, built once for all tests."""
    home = Path(tempfile.mkdtemp(prefix="handling-review-first-"))
    out = home / "review"
    review.build(read_program(facility.write(home / "exports")), FIRST, out)
    return out


def _holds_first_alone(home: Path) -> bool:
    """Whether the first review of the unchanged facility, untouched, is all that stands in a folder."""
    first = home / f"review-{FIRST}"
    alone = [path.name for path in home.iterdir()] == [first.name]
    return alone and bytes_of(first) == bytes_of(_unchanged_first())


@cache
def _late_case_second() -> Path:
    """The second review, with one late case, beside an unchanged first one; built once for all tests."""
    home = Path(tempfile.mkdtemp(prefix="handling-review-second-"))
    shutil.copytree(_unchanged_first(), home / f"review-{FIRST}")
    out = home / f"review-{SECOND}"
    review.build(read_program(facility.write(home / "exports", incidents=WITH_LATE_CASE)), SECOND, out)
    return out


def restated(out: Path) -> pd.DataFrame:
    """The table of restated numbers; text stays text."""
    return pd.read_csv(out / "tables" / "restated.csv", dtype={"period": str, "reason": str})


def reasons(out: Path, key: str) -> dict[str, tuple[float, float]]:
    """Reasons of one restated number: cases and hours that each brings."""
    rows = restated(out)
    found = rows[rows["key"] == key]
    return {
        row.reason: (0.0 if pd.isna(row.cases) else row.cases, 0.0 if pd.isna(row.hours_worked) else row.hours_worked)
        for row in found.itertuples()
    }


def moved(out: Path, key: str) -> tuple[float, float]:
    """A restated number then and now."""
    rows = restated(out)
    first = rows[rows["key"] == key].iloc[0]
    return float(first["then"]), float(first["now"])


def front(out: Path) -> str:
    """What page one says of changes since the last review, as plain text."""
    page = (out / "program-review.html").read_text(encoding="utf-8")
    block = re.search(r'<section class="since".*?</section>', page, flags=re.DOTALL)
    assert block is not None
    text = re.sub(r"</?(data|span)[^>]*>", "", block[0])
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def holds(folder: Path, text: str) -> list[str]:
    """Files of a folder that hold the text, in their bytes or in their rows."""
    found = [name for name, content in bytes_of(folder).items() if text.encode() in content]
    for path in sorted((folder / "snapshots").glob("*.parquet")):
        if text in pq.read_table(path).to_pandas().to_csv():
            found.append(f"rows of {path.name}")
    with duckdb.connect(str(folder / "review.duckdb"), read_only=True) as con:
        for (table,) in con.execute("SELECT table_name FROM duckdb_tables()").fetchall():
            if text in con.execute(f'SELECT * FROM "{table}"').df().to_csv():
                found.append(f"table {table}")
    return found
