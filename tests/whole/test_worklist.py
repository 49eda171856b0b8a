"""The restricted list: what is in it and what never is, who may read it, and when it is not written."""

from __future__ import annotations

import csv
import errno
import os
import stat
import tempfile
from collections import Counter
from datetime import date, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from handling_review import review, starter, worklist
from handling_review.cli import main
from handling_review.program import read_program
from whole import due_facility

HEADER = "employee_id,unit,state,last_completed_on,due_on"
BY_HAND = f"""\
{HEADER}
102,North,overdue,2024-06-01,2025-06-01
101,North,never_trained,,
107,North,never_trained,,
109,North,never_trained,,
103,North,due,2025-01-15,2025-09-10
105,South,overdue,2024-07-31,2025-07-31
116,South,never_trained,,
117,South,never_trained,,
118,South,never_trained,,
106,South,due,2024-08-01,2025-08-01
"""  # within 3 months of July 2025: to the end of October; 110 (November) and 104 (March) are not on it


@pytest.fixture
def program(tmp_path: Path) -> Path:
    return due_facility.write(tmp_path / "files")


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_the_list_by_hand(program: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "list.csv"
    assert main(["worklist", str(program), "--out", str(out)]) == 0
    assert out.read_text(encoding="utf-8") == BY_HAND
    assert mode(out) == 0o600
    shown = capsys.readouterr()
    assert shown.out.count("\n") == 1
    assert (
        "(mode 0600, readable by you alone): 2 overdue, 6 never trained, 2 due within 3 months, 0 not known."
    ) in shown.out
    assert "2 in comparison units" in shown.out
    assert "2 rows of recent hours without an employee id" in shown.out  # May and June, not the first quarter
    assert shown.out.endswith("Keep this list to those who schedule training.\n")


def test_the_default_name_has_the_day_and_nothing_else_is_left(
    program: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here, scratch = tmp_path / "here", tmp_path / "scratch"
    here.mkdir()
    scratch.mkdir()
    monkeypatch.chdir(here)
    monkeypatch.setattr(tempfile, "tempdir", str(scratch))
    before = names(tmp_path / "files")
    assert main(["worklist", str(program)]) == 0
    assert names(here) == ["worklist-2025-07-31.csv"]
    assert names(scratch) == []
    assert names(tmp_path / "files") == before


def test_the_folder_of_the_database_is_private_while_it_works(
    program: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[int] = []
    measured = review.measured

    def watched(*arguments: object, **named: object) -> object:
        seen.append(mode(arguments[2]))  # type: ignore[arg-type]
        return measured(*arguments, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(worklist, "measured", watched)
    assert main(["worklist", str(program), "--out", str(tmp_path / "list.csv")]) == 0
    assert seen == [0o700]


@pytest.mark.parametrize("mask", [0o000, 0o022, 0o377])
def test_the_file_is_private_from_its_first_byte(
    mask: int, program: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    modes: list[int] = []
    write_rows = csv.writer

    def watched(stream: object, **options: object) -> object:
        modes.append(stat.S_IMODE(os.fstat(stream.fileno()).st_mode))  # type: ignore[attr-defined]
        return write_rows(stream, **options)  # type: ignore[call-overload]

    monkeypatch.setattr(worklist.csv, "writer", watched)
    folder = tmp_path / "out"
    folder.mkdir()
    before = os.umask(mask)
    try:
        worklist._write_private(folder / "list.csv", [])
    finally:
        os.umask(before)
    assert modes == [0o600]
    assert mode(folder / "list.csv") == 0o600


def test_the_day_of_the_exports_moves_people_between_states(program: Path, tmp_path: Path) -> None:
    states = {}
    for day in ("2025-07-30", "2025-07-31", "2025-08-01", "2025-12-01"):
        out = tmp_path / f"{day}.csv"
        assert main(["worklist", str(program), "--as-of", day, "--out", str(out)]) == 0
        with out.open(encoding="utf-8", newline="") as stream:
            states[day] = {row["employee_id"]: row["state"] for row in csv.DictReader(stream)}
    assert [states[day]["105"] for day in states] == ["due", "overdue", "overdue", "overdue"]
    assert [states[day]["106"] for day in states] == ["due", "due", "overdue", "overdue"]
    assert [states[day].get("110") for day in states] == [None, None, "due", "overdue"]  # 30 November
    assert [states[day].get("104") for day in states] == [None, None, None, "due"]  # 1 March


def test_hours_after_the_day_of_the_exports_do_not_count(program: Path, tmp_path: Path) -> None:
    """As of 31 May the 60 days begin on 2 April; whoever worked in June only is not there yet."""
    found = worklist.write(read_program(program), date(2025, 5, 31), tmp_path / "list.csv", 3)
    assert found.rows_without_id == 2  # South to 1 May and in May; not North in June
    assert (tmp_path / "list.csv").read_text(encoding="utf-8").splitlines()[1:] == [
        "108,North,overdue,2024-01-05,2025-01-05",
        "109,North,never_trained,,",
        "107,South,never_trained,,",
    ]  # 110 works on North then, and is due in November


@pytest.mark.parametrize(
    ("months", "due"),
    [
        ("0", []),
        ("1", ["106"]),
        ("2", ["103", "106"]),
        ("4", ["103", "106", "110"]),
        ("8", ["103", "104", "106", "110"]),
    ],
)
def test_within_counts_months_after_this_one(months: str, due: list[str], program: Path, tmp_path: Path) -> None:
    out = tmp_path / "list.csv"
    assert main(["worklist", str(program), "--out", str(out), "--within", months]) == 0
    with out.open(encoding="utf-8", newline="") as stream:
        assert sorted(row["employee_id"] for row in csv.DictReader(stream) if row["state"] == "due") == due


@pytest.mark.parametrize("months", ["-1", "121", "x", "1.5", "²"])
def test_months_that_are_none_are_refused(months: str, program: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["worklist", str(program), f"--within={months}"])
    assert stop.value.code == 2
    assert "is not a whole number of months" in capsys.readouterr().err


def test_whoever_is_not_known_stands_last_in_the_unit(program: Path, tmp_path: Path) -> None:
    strangers = "".join(f"9{n:02d},Safe handling,2025-01-01,completed,\n" for n in range(40))
    due_facility.write(tmp_path / "files", training=due_facility.TRAINING + strangers)
    out = tmp_path / "list.csv"
    assert main(["worklist", str(program), "--out", str(out)]) == 0
    lines = [line.split(",")[:3] for line in out.read_text(encoding="utf-8").splitlines()[1:]]
    assert [state for _, unit, state in lines if unit == "North"] == ["overdue", "due", *["not_known"] * 3]
    assert "900" not in {person for person, _, _ in lines}  # in the training file alone: does not work here


def test_an_id_that_a_spreadsheet_would_run_is_made_harmless(tmp_path: Path) -> None:
    hours = due_facility.HOURS.replace("101,North", "=1+1,North").replace("109,North", "@x,North")
    program = due_facility.write(tmp_path / "files", hours=hours)
    out = tmp_path / "list.csv"
    assert main(["worklist", str(program), "--out", str(out)]) == 0
    text = out.read_text(encoding="utf-8")
    assert "\n'=1+1,North,never_trained,,\n" in text
    assert "\n'@x,North,never_trained,,\n" in text


def test_a_finding_that_blocks_stops_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    incidents = due_facility.INCIDENTS.replace("South,other", "Atlantis,other")
    program = due_facility.write(tmp_path / "files", incidents=incidents)
    folder = tmp_path / "out"
    folder.mkdir()
    assert main(["worklist", str(program), "--out", str(folder / "list.csv")]) == 4
    assert "'Atlantis'" in capsys.readouterr().err
    assert names(folder) == []


def test_an_earlier_list_is_replaced_and_private_again(program: Path, tmp_path: Path) -> None:
    out = tmp_path / "list.csv"
    out.write_text(f"{HEADER}\n999,North,overdue,,\n", encoding="utf-8")
    out.chmod(0o644)
    assert main(["worklist", str(program), "--out", str(out)]) == 0
    assert out.read_text(encoding="utf-8") == BY_HAND
    assert mode(out) == 0o600


def refused(program: Path, out: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """What is said when ``out`` is refused; exit code 5, one sentence."""
    capsys.readouterr()
    assert main(["worklist", str(program), "--out", str(out)]) == 5
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.count("\n") == 1
    return shown.err


@pytest.mark.parametrize("text", ["", "employee_id,unit\n1,North\n", "dear diary\n", HEADER, HEADER + ",injuries\n"])
def test_any_other_file_is_left_alone(
    text: str, program: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "mine.csv"
    out.write_text(text, encoding="utf-8")
    assert "this file is no worklist" in refused(program, out, capsys)
    assert out.read_text(encoding="utf-8") == text


def test_a_symbolic_link_is_refused_whatever_it_points_to(
    program: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target, link = tmp_path / "target.csv", tmp_path / "link.csv"
    target.write_text(f"{HEADER}\n", encoding="utf-8")
    link.symlink_to(target)
    assert "this is a symbolic link" in refused(program, link, capsys)
    assert target.read_text(encoding="utf-8") == f"{HEADER}\n"
    target.unlink()
    assert "this is a symbolic link" in refused(program, link, capsys)
    assert not target.exists()


def test_a_file_that_came_there_in_the_meantime_is_left_alone(
    program: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out" / "list.csv"
    out.parent.mkdir()
    measured = review.measured

    def slow(*arguments: object, **named: object) -> object:
        out.write_text("mine\n", encoding="utf-8")
        return measured(*arguments, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(worklist, "measured", slow)
    assert "this file is no worklist" in refused(program, out, capsys)
    assert out.read_text(encoding="utf-8") == "mine\n"
    assert names(out.parent) == ["list.csv"]


def test_a_folder_a_pipe_and_a_missing_folder_are_refused(
    program: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "this is a folder" in refused(program, tmp_path, capsys)
    os.mkfifo(tmp_path / "pipe")
    assert "this is no plain file" in refused(program, tmp_path / "pipe", capsys)
    assert "there is no folder" in refused(program, tmp_path / "nowhere" / "list.csv", capsys)
    assert "cannot be written" in refused(program, program / "list.csv", capsys)
    assert names(tmp_path) == ["files", "pipe"]


def test_the_folder_of_a_review_is_refused(program: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["build", str(program), "--out", str(tmp_path / "review")]) == 0
    before = names(tmp_path / "review")
    assert "the worklist is never part of one" in refused(program, tmp_path / "review" / "list.csv", capsys)
    assert names(tmp_path / "review") == before


def test_a_folder_that_cannot_be_written_is_told(
    program: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Root may write anywhere, so the refusal of the system is put in its place."""
    opened = os.open

    def denied(path: object, flags: int, *rest: int, **named: int) -> int:
        if str(path).startswith(str(tmp_path / "locked")):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return opened(path, flags, *rest, **named)  # type: ignore[arg-type]

    (tmp_path / "locked").mkdir()
    monkeypatch.setattr(worklist.os, "open", denied)
    said = refused(program, tmp_path / "locked" / "list.csv", capsys)
    assert "cannot be written (Permission denied). Choose another place with --out." in said


def test_a_full_disk_leaves_the_earlier_list_as_it_was(
    program: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out" / "list.csv"
    out.parent.mkdir()
    out.write_text(f"{HEADER}\n999,North,overdue,,\n", encoding="utf-8")

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(worklist.os, "fsync", full)
    assert "cannot be written (No space left on device)" in refused(program, out, capsys)
    assert out.read_text(encoding="utf-8") == f"{HEADER}\n999,North,overdue,,\n"
    assert names(out.parent) == ["list.csv"]


def test_the_list_of_the_sample_counts_as_its_review_does(tmp_path: Path) -> None:
    """The sample: its list against the counts of the review, and both against a plain reading of the files."""
    sample = starter.copy_sample(tmp_path / "sample")
    out = tmp_path / "list.csv"
    assert main(["worklist", str(sample), "--out", str(out)]) == 0
    with out.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    assert rows[0] == HEADER.split(",")
    assert {len(row) for row in rows} == {5}
    listed = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]

    (tmp_path / "db").mkdir()
    frame = review.measured(read_program(sample), date(2026, 7, 20), tmp_path / "db").tables["training_due"]
    published: Counter[tuple[str, str, str]] = Counter()
    for unit, state, month, people in frame.itertuples(index=False, name=None):
        published[str(unit), str(state), str(month)] = int(people)
    on_list = {
        key: people
        for key, people in published.items()
        if key[1] in ("overdue", "never_trained") or (key[1] == "due" and key[2] <= "2026-10")
    }
    shown = Counter((r["unit"], r["state"], r["due_on"][:7] if r["state"] == "due" else "") for r in listed)
    assert shown == on_list
    assert sum(on_list.values()) > 30

    people = plain_reading(sample.parent)
    assert Counter((unit, state, month) for unit, state, month, _ in people.values()) == published
    expected = {
        person: (unit, state) for person, (unit, state, month, _) in people.items() if (unit, state, month) in on_list
    }
    assert {r["employee_id"]: (r["unit"], r["state"]) for r in listed} == expected
    assert all(r["due_on"] == people[r["employee_id"]][3] for r in listed)


def plain_reading(folder: Path) -> dict[str, tuple[str, str, str, str]]:
    """Person to unit, state, month and day of lapse, from the sample's files by plain loops, day by day."""
    last, as_of = date(2026, 6, 30), date(2026, 7, 20)
    window = {last - timedelta(days=back) for back in range(60)}
    own = {"Dogwood MC": "Dogwood Memory Care", "Elm Sub-Acute": "Elm Skilled"}
    hours: dict[str, Counter[str]] = {}
    seen = set()
    for row in read(folder / "hours.csv"):
        if not row["Emp ID"] or row["Pay Code"] not in ("REG", "OT", "EDU", "AGY") or tuple(row.values()) in seen:
            continue
        first, end = (datetime.strptime(row[c], "%m/%d/%Y").date() for c in ("Period Start", "Period End"))
        seen.add(tuple(row.values()))  # a row that stands twice counts once
        days = [first + timedelta(days=n) for n in range((end - first).days + 1)]
        share = Fraction(sum(day in window for day in days), len(days))
        if share:
            unit = own.get(row["Cost Center"], row["Cost Center"])
            hours.setdefault(row["Emp ID"], Counter())[unit] += Fraction(row["Hours"]) * share  # type: ignore[assignment]
    until: dict[str, date] = {}
    for row in read(folder / "training.csv"):
        counts = row["course"] in ("Safe handling, hands-on day", "Safe handling, refresher")
        done = date.fromisoformat(row["completed_on"])
        if counts and row["status"] in ("completed", "passed") and done <= as_of:
            ends = done.replace(year=done.year + 2) if (done.month, done.day) != (2, 29) else date(done.year + 2, 2, 28)
            if row["expires_on"]:
                ends = min(ends, date.fromisoformat(row["expires_on"]))
            until[row["employee_id"]] = max(ends, until.get(row["employee_id"], ends))
    names = {row["unit"]: row["name"] for row in read(folder / "units.csv")}
    found = {}
    for person, units in hours.items():
        if sum(units.values()) <= 0:
            continue
        unit = min(units, key=lambda u: (-units[u], names[u]))
        ends = until.get(person)
        state = "never_trained" if ends is None else "overdue" if ends <= as_of else "due"
        if unit == "Fir Terrace":
            state = "comparison_unit"
        month = f"{ends:%Y-%m}" if ends and state == "due" else ""
        found[person] = (unit, state, month, ends.isoformat() if ends else "")
    return found


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))
