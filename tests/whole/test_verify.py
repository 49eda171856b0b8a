"""``verify`` on a good review and on one that was changed by hand, also where the manifest was mended to match."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest

from handling_review import manifest
from handling_review.cli import main
from handling_review.problems import OutputProblem
from handling_review.verify import Verified, verify
from whole import facility


@pytest.fixture(scope="module")
def reviewed(hand_review: tuple[Path, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the inputs and their review in ``out``."""
    files, out = hand_review
    folder = tmp_path_factory.mktemp("verified")
    shutil.copytree(files, folder, dirs_exist_ok=True)
    shutil.copytree(out, folder / "out")
    return folder


@pytest.fixture
def place(reviewed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(reviewed, tmp_path / "copy"))


def mend_manifest(out: Path) -> None:
    """Make the manifest match the changed files, as a careful forger would."""
    path = out / manifest.NAME
    said = json.loads(path.read_text(encoding="utf-8"))
    said["outputs"] = manifest.hashes(out)
    path.write_text(manifest.as_json(said) + "\n", encoding="utf-8")


def replace(path: Path, old: bytes, new: bytes) -> None:
    content = path.read_bytes()
    assert content.count(old) >= 1, (path, old)
    path.write_bytes(content.replace(old, new, 1))


def in_database(out: Path, sql: str) -> None:
    path = out / "review.duckdb"
    path.chmod(0o600)
    with duckdb.connect(str(path)) as database:
        database.execute(sql)


def one_byte_of_the_page(out: Path) -> None:
    replace(out / "program-review.html", b"Hand check", b"Hand Check")


def a_number(out: Path) -> None:
    path = out / "tables" / "numbers.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    place = next(i for i, line in enumerate(lines) if line.startswith("hours/facility/before,"))
    lines[place] = "hours/facility/before,999.0,hours,999\n"
    path.write_text("".join(lines), encoding="utf-8")


def a_table(out: Path) -> None:
    replace(out / "tables" / "rates_by_quarter.csv", b"2025-Q1", b"2025-Q4")


def a_finding(out: Path) -> None:
    (out / "findings.csv").write_text("severity,rule\n", encoding="utf-8")


def a_row(out: Path) -> None:
    in_database(out, "UPDATE raw_hours_rows SET hours = hours + 1 WHERE line = 2")


def a_result(out: Path) -> None:
    in_database(out, "UPDATE out_unit_quarters SET hours = hours + 1 WHERE quarter = '2025-Q1'")


def a_setting(out: Path) -> None:
    in_database(out, "UPDATE kept_record SET text = replace(text, '\"washout_days\": 30', '\"washout_days\": 60')")


CHANGES: dict[str, tuple[Callable[[Path], None], str, str]] = {
    "page": (one_byte_of_the_page, "program-review.html: changed", "program-review.html: line"),
    "number": (a_number, "tables/numbers.csv: changed", "hours/facility/before is 999.0 there, and"),
    "table": (a_table, "tables/rates_by_quarter.csv: changed", "tables/rates_by_quarter.csv: line 2 is not"),
    "finding": (a_finding, "findings.csv: changed", "findings.csv: line 1 is not"),
    "row": (a_row, "review.duckdb: changed", "table out_person_time is not what its accepted rows give"),
    "result": (a_result, "review.duckdb: changed", "table out_unit_quarters is not what its accepted rows give"),
    "setting": (a_setting, "review.duckdb: changed", "manifest.json: settings is not what the database holds"),
}


def troubles(out: Path) -> str:
    found = verify(out)
    assert found.troubles
    return "\n".join(found.troubles)


def test_a_good_review_agrees_with_its_inputs_too(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (place / "out" / "minutes.txt").write_text("agreed")
    before = manifest.hashes(place)
    for inputs in (place, place / "program.toml"):
        assert main(["verify", str(place / "out"), "--inputs", str(inputs)]) == 0
        said = capsys.readouterr().out
        assert "All agrees." in said
        assert "Inputs: 3 of 3 are the files that were read." in said
        assert "minutes.txt: put beside the review by somebody; no part of it." in said
        assert f"SHA-256 of manifest.json {manifest.sha256(place / 'out' / 'manifest.json')}" in said
        assert "who can write it can forge it" in said
    assert manifest.hashes(place) == before


@pytest.mark.parametrize("name", CHANGES)
def test_a_change_is_found_by_its_hash(place: Path, name: str) -> None:
    change, by_hash, _ = CHANGES[name]
    change(place / "out")
    assert by_hash in troubles(place / "out")


@pytest.mark.parametrize("name", CHANGES)
def test_a_change_is_found_by_working_it_out_again_where_the_manifest_was_mended(place: Path, name: str) -> None:
    change, _, again = CHANGES[name]
    change(place / "out")
    mend_manifest(place / "out")
    found = troubles(place / "out")
    assert "changed since it was built" not in found
    assert again in found


def test_files_that_are_missing_or_extra_are_named(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = place / "out"
    (out / "tables" / "phases.csv").unlink()
    (out / "tables" / "mine.csv").write_text("x")
    (out / "findings.csv").unlink()
    (out / "findings.csv").symlink_to("/etc/hostname")
    assert main(["verify", str(out)]) == 1
    said = capsys.readouterr().out
    assert "Does not agree (3):" in said
    assert "tables/phases.csv: missing." in said
    assert "tables/mine.csv: extra; no build wrote it." in said
    assert "findings.csv: no plain file." in said
    assert "Build it again from the inputs." in said


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (b'"run_id": "', b'"run_id": "f', "run_id is not what the database holds"),
        (b'"bytes": ', b'"bytes": 1', "inputs is not what the database holds"),
        (b'"rows": 8', b'"rows": 9', "inputs is not what the database holds"),
        (b'"washout_days": 30', b'"washout_days": 60', "settings is not what the database holds"),
        (b'"facility": "Hand', b'"facility": "Other', "facility is not what the database holds"),
        (b'"outputs": {', b'"outputs": {"../out/findings.csv": "x", ', "which is not inside the review"),
        (b'"facility"', b'"facility', "cannot be read as JSON"),
        (b"{", b"[{", "cannot be read as JSON"),
    ],
)
def test_a_changed_manifest_is_found(place: Path, old: bytes, new: bytes, told: str) -> None:
    replace(place / "out" / "manifest.json", old, new)
    assert told in troubles(place / "out")


@pytest.mark.parametrize(
    ("damage", "told"),
    [
        (lambda path: path.unlink(), "review.duckdb: missing."),
        (lambda path: path.write_bytes(b"no database"), "review.duckdb: cannot be read"),
        (lambda path: path.write_bytes(path.read_bytes()[: path.stat().st_size // 2]), "review.duckdb: "),
        (lambda path: in_database(path.parent, "DROP TABLE kept_record"), "review.duckdb: cannot be read"),
        (lambda path: in_database(path.parent, "DROP TABLE raw_units"), "its rows give no result tables"),
        (
            lambda path: in_database(path.parent, "UPDATE kept_record SET text = '[]'"),
            "its record of settings and days",
        ),
        (lambda path: in_database(path.parent, "DELETE FROM out_training_summary"), "its result tables make no review"),
    ],
)
def test_a_damaged_database_is_told_in_a_sentence(place: Path, damage: Callable[[Path], None], told: str) -> None:
    damage(place / "out" / "review.duckdb")
    assert told in troubles(place / "out")


def test_inputs_that_are_others_missing_or_new_are_named(place: Path) -> None:
    replace(place / "hours.csv", b"450", b"451")
    (place / "training.csv").unlink()
    found: Verified = verify(place / "out", place)
    assert found.troubles == (
        "hours.csv: this input is not the file that was read.",
        f"training.csv: this input is missing in {place}.",
    )
    more = facility.PROGRAM.replace('hours = "hours.csv"', 'hours = ["hours.csv", "more.csv"]')
    (place / "program.toml").write_text(more)
    found = verify(place / "out", place / "program.toml")
    assert "program.toml: its settings are not those of the review." in found.troubles
    assert "more.csv: this input was not read." in found.troubles


def test_no_review_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(OutputProblem, match="there is no review to verify"):
        verify(tmp_path)
    assert main(["verify", str(tmp_path / "nowhere")]) == 5
    assert "Traceback" not in capsys.readouterr().err
