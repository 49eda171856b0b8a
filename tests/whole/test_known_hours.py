"""Hours that the last review has read are taken over from its database, and nothing shows that they were.

Each build is held, to the byte of every file, against the same build that reads everything; and whatever could make a
file read otherwise now (bytes, settings, order, names, the database, the tool, a removal) has it read.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import duckdb
import pytest

from handling_review import forget, manifest, review
from handling_review.history import known as known_module
from handling_review.history.find import earlier
from handling_review.intake import load as load_module
from handling_review.intake.contracts import contract
from handling_review.intake.dialect import Dialect, examine
from handling_review.intake.reading import FileReader
from handling_review.program import read_program
from whole import facility

FIRST, SECOND = date(2025, 7, 31), date(2025, 10, 31)
NEXT = """\
employee_id,unit,period_start,period_end,hours
007,North,2025-07-01,2025-09-30,460
010,South,2025-07-01,2025-09-30,300
,South,2025-07-01,2025-09-30,30
011,East,2025-07-01,2025-09-30,x
"""
DAMAGED = facility.HOURS + "009,North,not a day,2025-06-30,91\n\nTotal,,,,2172\n010,north ,2025-06-01,2025-06-30, 12 \n"
DAYS = [str(date(2025, 1, 1) + timedelta(day)) for day in range(181)]
DAILY = "employee_id,unit,period_start,period_end,hours,role\n" + "".join(
    f"{person:03},{'North' if person % 2 else 'South'},{day},{day},{4 + person % 3},job {person % 16}\n"
    for person in range(7, 47) for day in DAYS
)  # fmt: skip
ONE = facility.PROGRAM
TWO = ONE.replace("end = 2025-06-30", "end = 2025-09-30").replace(
    'hours = "hours.csv"', 'hours = ["hours.csv", "next.csv"]'
).replace("through = 2025-06-30", "through = 2025-09-30").replace("as_of = 2025-07-31\n", "")  # fmt: skip


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a first review, and the exports of the second beside it."""
    folder = tmp_path_factory.mktemp("known")
    first = facility.write(folder / "exports", program=ONE, hours=DAMAGED)
    review.build(read_program(first), FIRST, folder / "review")
    facility.write(folder / "exports", program=TWO, hours=DAMAGED, next=NEXT)
    return folder


@pytest.fixture
def home(built: Path, tmp_path: Path) -> Path:
    """The same, to be changed."""
    shutil.copytree(built, tmp_path, dirs_exist_ok=True)
    return tmp_path


@pytest.fixture
def were_read(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the files whose rows a build has read."""
    names: list[str] = []

    class Noted(FileReader):
        def __init__(self, dialect: Dialect, *others: object) -> None:
            names.append(dialect.path.name)
            super().__init__(dialect, *others)  # type: ignore[arg-type]

    monkeypatch.setattr(load_module, "FileReader", Noted)
    return names


def second(home: Path, out: str = "review") -> Path:
    review.build(read_program(home / "exports" / "program.toml"), SECOND, home / out)
    return home / out


def everything(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_only_the_new_file_is_read_and_every_byte_is_what_reading_gives(
    home: Path, were_read: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(home / "review", home / "apart" / "review")
    shutil.copytree(home / "exports", home / "apart" / "exports")
    taken = second(home)
    assert sorted(were_read) == ["incidents.csv", "next.csv", "training.csv"]
    were_read.clear()
    monkeypatch.setattr(review, "known_hours", lambda *_: None)
    read = second(home / "apart")
    assert sorted(were_read) == ["hours.csv", "incidents.csv", "next.csv", "training.csv"]
    assert everything(taken) == everything(read)


def test_thousands_of_slots_leave_the_same_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """More slots and rows than the database works on at a time: it samples what it is given, piece by piece."""
    for name in ("taken", "read"):
        home = tmp_path / name
        review.build(read_program(facility.write(home / "exports", program=ONE, hours=DAILY)), FIRST, home / "review")
        facility.write(home / "exports", program=TWO, hours=DAILY, next=NEXT)
    taken = second(tmp_path / "taken")
    monkeypatch.setattr(review, "known_hours", lambda *_: None)
    assert everything(taken) == everything(second(tmp_path / "read"))


def test_a_third_review_takes_both_files(home: Path, were_read: list[str]) -> None:
    second(home)
    were_read.clear()
    third = read_program(home / "exports" / "program.toml")
    review.build(third, date(2025, 12, 31), home / "review")
    assert sorted(were_read) == ["incidents.csv", "training.csv"]


def bytes_changed(home: Path) -> None:
    path = home / "exports" / "hours.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("450", "451"), encoding="utf-8")


def settings_changed(home: Path) -> None:
    path = home / "exports" / "program.toml"
    path.write_text(path.read_text(encoding="utf-8") + "[ids]\nzero_pad = 4\n", encoding="utf-8")


def days_written_otherwise(home: Path) -> None:
    path = home / "exports" / "program.toml"
    path.write_text(path.read_text(encoding="utf-8") + '[dates]\nhours = "dmy"\n', encoding="utf-8")


def order_changed(home: Path) -> None:
    path = home / "exports" / "program.toml"
    text = path.read_text(encoding="utf-8").replace('["hours.csv", "next.csv"]', '["next.csv", "hours.csv"]')
    path.write_text(text, encoding="utf-8")


def renamed(home: Path) -> None:
    (home / "exports" / "hours.csv").rename(home / "exports" / "all-hours.csv")
    path = home / "exports" / "program.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("hours.csv", "all-hours.csv"), encoding="utf-8")


def other_tool(home: Path) -> None:
    path = home / "review" / "manifest.json"
    told = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps({**told, "tool_sha256": "0" * 64}), encoding="utf-8")


def other_library(home: Path) -> None:
    path = home / "review" / "manifest.json"
    told = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps({**told, "versions": {**told["versions"], "polars": "0.1"}}), encoding="utf-8")


def database_touched(home: Path) -> None:
    with duckdb.connect(str(home / "review" / "review.duckdb")) as con:
        con.execute("UPDATE raw_hours_rows SET hours = 1")


def person_removed(home: Path) -> None:
    forget.forget(home / "review", "009", "asked for")


@pytest.mark.parametrize(
    "change",
    [
        bytes_changed, settings_changed, days_written_otherwise, order_changed, renamed, other_tool, other_library,
        database_touched, person_removed,
    ],
)  # fmt: skip
def test_what_could_be_read_otherwise_is_read(home: Path, change: Callable[[Path], None]) -> None:
    assert taken(home) == 1
    change(home)
    assert taken(home) == 0


def taken(home: Path) -> int:
    """How many files of hours a second build would take over."""
    program = read_program(home / "exports" / "program.toml")
    before = earlier(program, SECOND, home / "review")
    known = known_module.known_hours(program, before, manifest.versions(), manifest.tool_sha256())
    hours = [(path.name, examine(path, contract("hours"), {}).sha256) for path in program.files["hours"]]
    return 0 if known is None else known.same(hours)


def test_pseudonyms_have_every_file_read(tmp_path: Path, were_read: list[str]) -> None:
    secret = "[privacy]\npseudonymise = true\n"
    first = facility.write(tmp_path / "exports", program=ONE + secret)
    review.build(read_program(first), FIRST, tmp_path / "review")
    were_read.clear()
    facility.write(tmp_path / "exports", program=TWO + secret, next=NEXT)
    second(tmp_path)
    assert "hours.csv" in were_read


def test_rows_that_are_not_all_there_have_the_file_read(
    home: Path, were_read: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    database_touched(home)
    with duckdb.connect(str(home / "review" / "review.duckdb")) as con:
        con.execute("DELETE FROM raw_hours_rows WHERE record = 2")
    monkeypatch.setattr(known_module, "_is_whole", lambda *_: True)
    second(home)
    assert "hours.csv" in were_read
