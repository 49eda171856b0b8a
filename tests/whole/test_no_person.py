"""No employee id of the sample stands in any file of a review but the database, which only its owner can read."""

from __future__ import annotations

import csv
import gzip
import re
import stat
from base64 import b64decode
from pathlib import Path


def ids_of(sample: Path) -> set[str]:
    found: set[str] = set()
    for name, column in (("incidents", "employee_id"), ("hours", "Emp ID"), ("training", "employee_id")):
        with (sample / f"{name}.csv").open(encoding="cp1252", errors="replace", newline="") as stream:
            found |= {row[column] for row in csv.DictReader(stream) if row[column] and row[column].isdigit()}
    return found


def test_no_employee_id_outside_the_database(sample_review: tuple[Path, Path]) -> None:
    sample, out = sample_review
    ids = ids_of(sample)
    assert len(ids) > 400
    seen = 0
    for path in sorted(out.rglob("*")):
        if not path.is_file() or path.suffix in (".duckdb", ".parquet"):  # readable by their owner alone
            continue
        text = path.read_text(encoding="utf-8")
        seen += 1
        text = re.sub(r'<script type="text/plain" id="plotly-packed">.*?</script>', "", text, flags=re.DOTALL)
        text = re.sub(r"[0-9a-f]{32,64}", "", text)  # hashes of files, names of chunks
        words = set(re.findall(r"(?<![\d.])\d{6}(?![\d.])", text))
        assert not words & ids, path.name
    assert seen >= 30


def test_the_packed_library_on_the_page_is_plotly_and_nothing_else(sample_review: tuple[Path, Path]) -> None:
    text = (sample_review[1] / "program-review.html").read_text(encoding="utf-8")
    packed = re.search(r'id="plotly-packed">(.*?)</script>', text, flags=re.DOTALL)
    assert packed is not None
    from plotly.offline import get_plotlyjs

    assert gzip.decompress(b64decode(packed[1].strip())).decode("utf-8") == get_plotlyjs()


def test_the_database_is_for_its_owner_only(sample_review: tuple[Path, Path]) -> None:
    mode = (sample_review[1] / "review.duckdb").stat().st_mode
    assert stat.S_IMODE(mode) == 0o600


def test_no_day_of_a_single_case_is_published(sample_review: tuple[Path, Path]) -> None:
    """Days of events stand in the log; what is published are quarters, months and the days of the diary and files."""
    sample, out = sample_review
    with (sample / "incidents.csv").open(encoding="cp1252", errors="replace", newline="") as stream:
        days = {row["event_date"] for row in csv.DictReader(stream)}
    with (sample / "events.csv").open(encoding="utf-8", newline="") as stream:
        diary = {row["date"] for row in csv.DictReader(stream)}
    with (sample / "units.csv").open(encoding="utf-8", newline="") as stream:
        starts = {row["program_start"] for row in csv.DictReader(stream)}
    quarter_ends = {
        f"{y}-{md}"
        for y in range(2022, 2028)
        for md in ("01-01", "03-31", "04-01", "06-30", "07-01", "09-30", "10-01", "12-31")
    }
    known = diary | starts | quarter_ends | {"2026-07-20", "2026-07-04", "2026-09-28"}
    for path in (*sorted((out / "tables").glob("*.csv")), out / "program-review.html"):
        found = set(re.findall(r"\b20\d\d-\d\d-\d\d\b", path.read_text(encoding="utf-8")))
        assert not (found & days) - known, path.name
