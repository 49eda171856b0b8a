"""Kept rows: an earlier review built again, chunks shared between builds, a person taken out, old rows dropped."""

from __future__ import annotations

import io
import json
import re
import shutil
import stat
from datetime import date
from pathlib import Path

import duckdb
import pandas as pd
import pytest

from handling_review import rebuild, review, starter
from handling_review.cli import main
from handling_review.problems import OutputProblem
from handling_review.program import read_program
from whole import facility
from whole.histories import FIRST, LATE_CASE, LATE_HOURS, SECOND, THIRD, build, bytes_of, front, holds, restated

PLANTED = "planted-4711"
REASON = "request of the person, settled on paper"


def three(home: Path) -> list[Path]:
    return [
        build(home, FIRST),
        build(home, SECOND, incidents=facility.INCIDENTS + LATE_CASE),
        build(home, THIRD, incidents=facility.INCIDENTS + LATE_CASE, hours=facility.HOURS + LATE_HOURS),
    ]


def test_every_earlier_review_is_built_again_to_the_byte(tmp_path: Path) -> None:
    first, second, third = three(tmp_path)
    for name, published in (("a", first), ("b", second), ("c", third)):
        day = date.fromisoformat(published.name.removeprefix("review-"))
        found = rebuild.rebuild(third, day, tmp_path / "again" / name)
        assert bytes_of(tmp_path / "again" / name) == bytes_of(published)
        assert found.provisos == ()


def test_a_review_with_set_aside_rows_totals_and_a_full_program_file_is_built_again(tmp_path: Path) -> None:
    hours = facility.HOURS.replace("hours\n", "hours,pay_code\n").replace("0,450\n", "0,450,REG\n")
    hours = "\n".join(line if line.count(",") == 5 else f"{line},REG" for line in hours.splitlines()) + "\n"
    hours += "007,North,2025-04-01,2025-06-30,zzz,REG\n007,North,2025-04-01,2025-06-30,8,PTO\nTotal,,,,2172,\n"
    program = facility.PROGRAM + (
        '[pay_codes]\nworked = ["REG"]\nnot_worked = ["PTO"]\n[units.aliases]\n"S" = "South"\n[jobs]\n"a" = "b"\n'
        '[[units.changes]]\non = 2025-03-01\nold = ["South"]\nnew = ["South"]\n[charts]\nbaseline_from = 2025-01-01\n'
        '[columns.hours]\nunit = "unit"\n[decimal_comma]\nhours = false\n[dates]\nhours = "iso"\n'
    )
    out = build(tmp_path, FIRST, hours=hours, program=program)
    assert "totals row" in (out / "findings.csv").read_text()
    assert "zzz" in (out / "findings.csv").read_text()
    rebuild.rebuild(out, None, tmp_path / "again")
    assert bytes_of(tmp_path / "again") == bytes_of(out)


def test_the_command_builds_again_beside_and_says_where(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    first = build(tmp_path, FIRST)
    monkeypatch.chdir(tmp_path)
    assert main(["build", "--from-store", str(first), "--as-of", str(FIRST)]) == 0
    assert f"rebuilt-{FIRST}" in capsys.readouterr().out
    assert bytes_of(tmp_path / f"rebuilt-{FIRST}") == bytes_of(first)
    assert main(["build", "--from-store", str(first), "--as-of", "2024-01-01"]) == 2
    assert f"It keeps rows of: {FIRST}" in capsys.readouterr().err
    assert main(["build", "--from-store", str(tmp_path)]) == 2
    assert main(["build", "program.toml", "--from-store", str(first)]) == 2
    assert "leave PROGRAM" in capsys.readouterr().err
    assert main(["build"]) == 2
    assert "needs a program file" in capsys.readouterr().err


def test_another_version_is_said(tmp_path: Path) -> None:
    first = build(tmp_path, FIRST)
    with duckdb.connect(str(first / "review.duckdb")) as con:
        con.execute(
            """UPDATE history_reviews SET about = replace(about, '"handling-review":"', '"handling-review":"0.0.')"""
        )
    found = rebuild.rebuild(first, None, tmp_path / "again")
    assert "Other versions than when it was published (handling-review 0.0." in found.provisos[0]


def test_altered_settings_and_damaged_rows_end_in_a_sentence(tmp_path: Path) -> None:
    first = build(tmp_path, FIRST)
    twin = Path(shutil.copytree(first, tmp_path / "twin"))
    with duckdb.connect(str(first / "review.duckdb")) as con:
        con.execute("UPDATE history_reviews SET about = replace(about, '\"washout_days\":30', '\"washout_days\":60')")
    with pytest.raises(OutputProblem, match="not the ones that it was built with"):
        rebuild.rebuild(first, None, tmp_path / "again")
    next((twin / "snapshots").glob("hours-rows-*")).write_bytes(b"PAR1 nothing PAR1")
    with pytest.raises(OutputProblem, match="are not whole"):
        rebuild.rebuild(twin, None, tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_a_chunk_that_did_not_change_is_the_same_file_and_only_new_ones_are_written(tmp_path: Path) -> None:
    first = build(tmp_path, FIRST)
    third = "007,North,2025-07-01,2025-09-30,460\n,South,2025-07-01,2025-09-30,184\n"
    out = build(tmp_path, SECOND, hours=facility.HOURS + third)
    before = {p.name: p.stat().st_ino for p in (first / "snapshots").iterdir()}
    after = {p.name: p.stat().st_ino for p in (out / "snapshots").iterdir()}
    assert {name: after.get(name) for name in before} == before  # linked, not copied
    fresh = sorted(name.rsplit("-", 1)[0] for name in after.keys() - before.keys())
    # the new quarter and where its rows stood; the cases with what was made of them are the same
    assert fresh == ["hours-places", "hours-rows"]


def test_rows_that_move_down_in_an_export_leave_their_chunks_alone(tmp_path: Path) -> None:
    first = build(tmp_path, FIRST)
    head, *rows = facility.HOURS.splitlines(keepends=True)
    by_quarter = sorted(rows, key=lambda line: line.split(",")[2])
    early = "007,North,2024-10-01,2024-12-31,440\n"
    sorted_first = build(tmp_path / "s", SECOND, hours="".join([head, *by_quarter]))
    out = build(tmp_path / "t", THIRD, hours="".join([head, early, *by_quarter]), since=sorted_first)
    kept = {p.name for p in (sorted_first / "snapshots").glob("hours-*")}
    assert len(kept) == 4
    assert kept <= {p.name for p in (out / "snapshots").glob("hours-*")}
    assert first.exists()


def test_what_holds_rows_is_for_its_owner_only(tmp_path: Path) -> None:
    _, _, out = three(tmp_path)
    assert stat.S_IMODE((out / "snapshots").stat().st_mode) == 0o700
    for path in [*(out / "snapshots").iterdir(), out / "review.duckdb", out / "facility-aggregates.json"]:
        assert stat.S_IMODE(path.stat().st_mode) == 0o600, path.name


def test_old_rows_are_dropped_at_the_next_build_and_said(tmp_path: Path) -> None:
    first = build(tmp_path, FIRST)
    kept = facility.PROGRAM + "[store]\nkeep_years = 0\n"
    same_year = build(tmp_path, SECOND, program=kept)
    assert "snapshot dropped" not in (same_year / "findings.csv").read_text()
    next_year = date(2026, 1, 15)
    changed = facility.INCIDENTS.replace("007,2025-01-15", "007,2025-01-16")
    out = build(tmp_path, next_year, program=kept, incidents=changed)
    told = (out / "findings.csv").read_text()
    assert told.count("snapshot dropped") == 2  # the first review and the second
    assert f"review as of {FIRST} were kept 0 years after 2025" in told
    names = {p.name for p in (out / "snapshots").iterdir()}
    old = {p.name for p in (first / "snapshots").glob("incidents-rows-*")}
    assert not names & old
    with pytest.raises(OutputProblem, match="no longer kept"):
        rebuild.rebuild(out, FIRST, tmp_path / "again")
    assert bytes_of(build(tmp_path, next_year, program=kept, incidents=changed)) == bytes_of(out)
    with duckdb.connect(str(out / "review.duckdb"), read_only=True) as con:
        kept_numbers = con.execute("SELECT count(*) FROM history_numbers WHERE first_review = 1").fetchall()[0][0]
    assert kept_numbers > 100  # published numbers stay


def planted(home: Path) -> list[Path]:
    """Two reviews of a facility in which one person has hours, training and two cases."""
    files = {
        "hours": facility.HOURS.replace("008", PLANTED),
        "incidents": facility.INCIDENTS.replace(",008,", f",{PLANTED},"),
        "training": facility.TRAINING.replace("008", PLANTED),
    }
    later = files | {"hours": files["hours"] + LATE_HOURS}
    return [build(home, FIRST, **files), build(home, SECOND, **later)]


def test_forgetting_leaves_no_byte_of_the_id_and_every_published_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    first, out = planted(tmp_path)
    before = bytes_of(out)
    assert "review.duckdb" in holds(out, PLANTED)  # the search finds what is there
    assert any(name.startswith("rows of hours-rows") for name in holds(out, PLANTED))
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(f"{PLANTED}\n".encode())))
    assert main(["forget", str(out), "--reason", REASON]) == 0
    said = capsys.readouterr().out
    assert PLANTED not in said
    assert first.name in said  # a folder beside that still holds the rows
    assert holds(out, PLANTED) == []
    after = bytes_of(out)
    same = {name for name in before if name.endswith((".html", ".csv"))}
    assert len(same) > 30
    assert {name: after[name] for name in same} == {name: before[name] for name in same}
    # 2 rows of hours, 2 cases, 2 completions; late hours of others made a second chunk with one of these hours rows
    manifest = json.loads((out / "manifest.json").read_text())
    assert [(r["rows"], r["reason"]) for r in manifest["removals"]] == [(7, REASON)]
    assert re.search(r"out of 6 rows of this review and 7 kept rows", said)
    import hashlib

    assert manifest["outputs"] == {
        name: hashlib.sha256(content).hexdigest() for name, content in after.items() if name != "manifest.json"
    }
    assert stat.S_IMODE((out / "review.duckdb").stat().st_mode) == 0o600
    assert holds(first, PLANTED)  # another folder is not touched


def test_after_forgetting_totals_can_still_be_built_and_views_still_work(tmp_path: Path) -> None:
    _, out = planted(tmp_path)
    (tmp_path / "id.txt").write_text(PLANTED)
    assert main(["forget", str(out), "--reason", REASON, "--id-file", str(tmp_path / "id.txt")]) == 0
    found = rebuild.rebuild(out, FIRST, tmp_path / "again")
    assert "7 kept rows were freed of a person" in found.provisos[0]
    then = pd.read_csv(tmp_path / f"review-{FIRST}" / "tables" / "rates_by_quarter.csv")
    now = pd.read_csv(tmp_path / "again" / "tables" / "rates_by_quarter.csv")
    assert then["cases"].tolist() == now["cases"].tolist()
    assert now["hours_worked"].tolist() == pytest.approx(then["hours_worked"].tolist(), abs=0.01)
    with duckdb.connect(str(out / "review.duckdb"), read_only=True) as con:
        assert con.execute("SELECT count(*) FROM stg_hours WHERE fate = 'used'").fetchall()[0][0] == 9
        assert (
            con.execute("SELECT count(*) FROM stg_incidents WHERE case_number LIKE 'removed %'").fetchall()[0][0] == 2
        )


def test_the_removal_goes_on_into_later_reviews_and_is_no_restatement(tmp_path: Path) -> None:
    first, out = planted(tmp_path)
    shutil.rmtree(first)
    (tmp_path / "id.txt").write_text(PLANTED)
    assert main(["forget", str(out), "--reason", REASON, "--id-file", str(tmp_path / "id.txt")]) == 0
    later = build(
        tmp_path, THIRD,
        hours=facility.HOURS.replace("008", PLANTED) + LATE_HOURS,
        incidents=facility.INCIDENTS.replace(",008,", f",{PLANTED},"),
        training=facility.TRAINING.replace("008", PLANTED),
    )  # fmt: skip
    assert json.loads((later / "manifest.json").read_text())["removals"][0]["reason"] == REASON
    assert restated(later).empty
    assert "none of the" in front(later)


@pytest.mark.parametrize(
    ("person", "reason", "said"),
    [
        ("nobody-here", "as asked", "no row of that person"),
        (PLANTED, f"{PLANTED} asked", "do not hold the id"),
        (PLANTED, " ", "do not hold the id"),
        ("", "as asked", "one line with one employee id"),
        ("one\ntwo", "as asked", "one line with one employee id"),
    ],
)
def test_a_removal_that_cannot_be_is_refused_and_changes_nothing(
    tmp_path: Path, person: str, reason: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    out = build(tmp_path, FIRST)
    before = bytes_of(out)
    (tmp_path / "id.txt").write_text(person)
    assert main(["forget", str(out), "--reason", reason, "--id-file", str(tmp_path / "id.txt")]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert PLANTED not in err
    assert bytes_of(out) == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["id.txt", out.name]


def test_forgetting_needs_a_review_folder(tmp_path: Path) -> None:
    (tmp_path / "id.txt").write_text("x")
    assert main(["forget", str(tmp_path), "--reason", "as asked", "--id-file", str(tmp_path / "id.txt")]) == 2


def test_notes_of_a_first_build_stand_in_its_second_too(tmp_path: Path) -> None:
    """Beside a damaged newer review the older one is used; building again says so again, byte for byte."""
    build(tmp_path, FIRST)
    damaged = build(tmp_path, SECOND, incidents=facility.INCIDENTS + LATE_CASE)
    (damaged / "review.duckdb").write_bytes(b"no database")
    out = build(tmp_path, THIRD)
    once = bytes_of(out)
    assert "has a damaged database" in (out / "findings.csv").read_text()
    assert bytes_of(build(tmp_path, THIRD)) == once


def test_settings_come_back_as_they_were(tmp_path: Path) -> None:
    from handling_review.history import book
    from handling_review.history.program_back import program_of

    program = read_program(starter.copy_sample(tmp_path))
    plain = json.loads(book.dump(program.settings()))
    back = program_of(plain, program.settings_hash())
    assert back.proposals == program.proposals
    assert back.training == program.training
    assert back.review == program.review
    assert review.PAGE == "program-review.html"
