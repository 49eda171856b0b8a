"""The shipped sample: what the generator writes, where its planted mess stands, and that it fits the contracts."""

from __future__ import annotations

import csv
import hashlib
import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from handling_review import files, starter
from handling_review.intake.contracts import contract
from handling_review.program import read_program
from handling_review.simulate import Plan, simulate, write
from handling_review.simulate.__main__ import main

WORKED = ("REG", "OT", "EDU", "AGY")
HANDLING = ("Safe handling, hands-on day", "Safe handling, refresher")
SAMPLE = ("incidents", "hours", "training", "units", "equipment", "observations", "exposure", "events")


@cache
def quillmere() -> Any:
    return simulate(Plan())


def digests(folder: Path) -> dict[str, str]:
    return {f.name: hashlib.sha256(f.read_bytes()).hexdigest() for f in sorted(folder.iterdir())}


def test_same_seed_same_bytes_in_another_process(tmp_path: Path) -> None:
    for name, hashing in (("one", "1"), ("two", "77")):
        command = [sys.executable, "-m", "handling_review.simulate", str(tmp_path / name), "--staff", "40"]
        environment = os.environ | {"PYTHONHASHSEED": hashing}
        subprocess.run(command, check=True, env=environment, capture_output=True)
    write(simulate(replace(Plan(), staff=40)), tmp_path / "three")
    assert digests(tmp_path / "one") == digests(tmp_path / "two") == digests(tmp_path / "three")
    write(simulate(replace(Plan(), staff=40, seed=2027)), tmp_path / "other")
    changed = {n for n, d in digests(tmp_path / "other").items() if d != digests(tmp_path / "one")[n]}
    assert {"incidents.csv", "hours.csv", "training.csv", "truth.json"} <= changed


def test_the_shipped_sample_is_what_the_program_writes(tmp_path: Path) -> None:
    write(quillmere(), tmp_path)
    for path in sorted(tmp_path.iterdir()):
        assert files.read_bytes("sample_data", path.name) == path.read_bytes(), path.name


@cache
def sample_rows(name: str) -> list[list[str]]:
    """Rows of a sample file with the header first, read by the standard library."""
    text = files.read_bytes("sample_data", f"{name}.csv").decode("cp1252")
    return list(csv.reader(text.splitlines()))


def cell(name: str, line: int, column: str) -> str:
    rows = sample_rows(name)
    return rows[line - 1][rows[0].index(column)]


def planted(word: str) -> Any:
    truth = json.loads(files.read_text("sample_data", "truth.json"))
    found = [item for item in truth["planted"] if word in item["planted"]]
    assert len(found) == 1, word
    return found[0]


def test_planted_cells_stand_where_the_truth_says() -> None:
    line = planted("0x92")["first_lines"][0]
    raw = files.read_bytes("sample_data", "incidents.csv").split(b"\n")[line - 1]
    assert b"Nurse\x92s aide" in raw
    with pytest.raises(UnicodeDecodeError):
        raw.decode("utf-8")
    for word, column, text in (
        ("180 days", "days_away", "214"),
        ("no day of the calendar", "event_date", "-02-30"),
        ("first-aid case with days away", "days_away", "3"),
    ):
        assert text in cell("incidents", planted(word)["first_lines"][0], column)
    assert list(planted("no day of the calendar")["log_change"]) == ["first_aid"]
    assert cell("incidents", planted("no day of the calendar")["first_lines"][0], "outcome") == "first_aid"
    line = planted("reported the day before")["first_lines"][0]
    happened, reported = (date.fromisoformat(cell("incidents", line, c)) for c in ("event_date", "reported_date"))
    assert reported == happened - timedelta(days=1)
    repeated = planted("case number given twice")
    one, two = int(repeated["planted"].rsplit(" ", 1)[1]), repeated["first_lines"][0]
    assert cell("incidents", one, "case_number") == cell("incidents", two, "case_number")
    assert cell("incidents", one, "event_date")[:4] == cell("incidents", two, "event_date")[:4]
    assert {cell("incidents", line, "unit") for line in planted("spelled")["first_lines"]} == {"Dogwood MC"}
    assert cell("incidents", planted("after the last day")["first_lines"][0], "event_date") > "2026-06-30"


def test_planted_training_rows_stand_where_the_truth_says() -> None:
    rows = sample_rows("training")
    retake = rows[planted("passed again")["first_lines"][0] - 1]
    passes = [r for r in rows if r[0] == retake[0] and r[1] == retake[1] and r[3] == "passed"]
    assert len(passes) == 2
    copy = rows[planted("exact copy")["first_lines"][0] - 1]
    assert rows.count(copy) == 2
    assert cell("training", planted("after the export")["first_lines"][0], "completed_on") > "2026-07-20"
    stranger = cell("training", planted("in no other file")["first_lines"][0], "employee_id")
    others = {row[0] for row in sample_rows("hours")} | {row[1] for row in sample_rows("incidents")}
    assert stranger not in others


def test_planted_hours_rows_stand_where_the_truth_says() -> None:
    rows = sample_rows("hours")
    header = rows[0]
    hours, code = header.index("Hours"), header.index("Pay Code")
    total = rows[planted("totals row")["first_lines"][0] - 1]
    body = [row for row in rows[1:] if row is not total]
    assert float(total[hours]) == pytest.approx(sum(float(row[hours]) for row in body), abs=0.005)
    back = rows[planted("the row of -8.00")["first_lines"][0] - 1]
    high = rows[planted("eight hours too many")["first_lines"][0] - 1]
    assert float(back[hours]) == -8
    assert [c for i, c in enumerate(back) if i != hours] == [c for i, c in enumerate(high) if i != hours]
    for word, expected in (("time off", "PTO"), ("sick", "SICK"), ("premium", "OTP")):
        assert planted(word)["rows"] == sum(row[code] == expected for row in body)
    old = [row for row in body if row[1] == "Elm Sub-Acute"]
    assert len(old) == planted("former name")["rows"]
    assert all(row[3][-4:] == "2023" for row in old)
    truth = quillmere().truth["series"]["handling"]["phases"]
    inside = 0.0
    for row in body:
        if row[code] in WORKED:
            days = [date(int(t[6:]), int(t[:2]), int(t[3:5])) for t in row[2:4]]
            reach = (min(days[1], date(2026, 6, 30)) - max(days[0], date(2023, 1, 1))).days + 1
            inside += float(row[hours]) * reach / 14
    assert inside == pytest.approx(sum(p["hours"] for p in truth.values()), abs=0.01), "the mess nets out"


def test_planted_posted_total_is_one_case_over() -> None:
    item = planted("posted summary")
    line = item["first_lines"][0]
    year = int(cell("annual_totals", line, "year"))
    log = quillmere().incidents
    kept = log.filter((pl.col("event_date").dt.year() == year) & (pl.col("outcome") == "other_recordable"))
    assert int(cell("annual_totals", line, "other_cases")) == kept.height + 1


@pytest.mark.parametrize("name", [*SAMPLE, "annual_totals", "reference_rates"])
def test_sample_columns_and_codes_are_the_contract_s(name: str) -> None:
    shape = contract(name)
    frame = getattr(quillmere(), name)
    assert set(frame.columns) <= set(shape.names)
    if name != "hours":
        assert sample_rows(name)[0] == frame.columns
    for field in shape.fields:
        if field.name not in frame.columns:
            continue
        values = frame[field.name]
        if field.required:
            assert values.null_count() == 0, field.name
        if field.enum:
            assert set(values.drop_nulls().cast(pl.String)) <= set(field.enum), field.name
    for key in filter(None, [shape.primary_key]):
        years = [pl.col(c).dt.year() if frame[c].dtype == pl.Date and len(key) > 1 else pl.col(c) for c in key]
        assert frame.select(pl.struct(years).is_duplicated().any()).item() is False


def test_sample_program_file_is_read_with_its_settings(tmp_path: Path) -> None:
    program = read_program(starter.copy_sample(tmp_path))
    assert program.facility.name == "Quillmere Care Campus"
    assert "Made-up" in program.facility.note
    assert program.review.as_of == date(2026, 7, 20)
    assert program.training.qualifying_courses == HANDLING
    assert program.training.washout_days == 30
    assert program.unit_aliases["Dogwood MC"] == "Dogwood Memory Care"
    assert all(path.is_file() for paths in program.files.values() for path in paths)
    seen = {row[4] for row in sample_rows("hours")[1:] if row[4]}
    codes = program.pay_codes
    assert seen == {*codes.worked, *codes.not_worked, *codes.premium_only}


def test_sample_is_small_has_leading_zeros_and_no_carriage_returns() -> None:
    size = 0
    for name in (n for n in files.names("sample_data") if not n.endswith(".png")):
        raw = files.read_bytes("sample_data", name)
        size += len(raw)
        assert b"\r" not in raw, name
    assert size < 3_000_000
    ids = quillmere().hours["employee_id"].drop_nulls()
    assert ids.str.starts_with("00").all()
    assert ids.str.len_chars().unique().to_list() == [6]


def test_without_mess_nothing_is_planted(tmp_path: Path) -> None:
    assert main([str(tmp_path), "--clean", "--staff", "21", "--quarters", "6", "--seed", "3"]) == 0
    truth = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    assert truth["planted"] == []
    assert truth["settings"]["end"] == "2024-06-30"
    (tmp_path / "incidents.csv").read_bytes().decode("ascii")
    assert "Grand Total" not in (tmp_path / "hours.csv").read_text(encoding="utf-8")


def test_command_writes_a_shift_file_with_a_program_file_that_fits(tmp_path: Path) -> None:
    assert main([str(tmp_path), "--shift-rows", "40000"]) == 0
    assert (tmp_path / "hours.csv").read_text(encoding="utf-8").count("\n") == 40_001
    program = read_program(tmp_path / "program.toml")
    assert "hours" not in program.columns
    assert program.pay_codes.worked == ()
