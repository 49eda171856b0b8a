"""Pseudonyms: no id in the database or beside it, the same numbers, real ids on the worklist only."""

from __future__ import annotations

import json
import re
import shutil
from datetime import date
from pathlib import Path

import polars as pl
import pytest

from handling_review import pseudonyms
from handling_review.cli import main
from handling_review.intake.contracts import contract
from handling_review.intake.dialect import examine
from handling_review.intake.reading import FileReader
from handling_review.intake.values import Style
from handling_review.program import read_program
from handling_review.review import measured
from whole import due_facility, facility
from whole.histories import holds

IDS = {"007": "KX-007-QZ", "008": "kx-008-qz", "009": "000918273645"}
PRIVACY = "[privacy]\npseudonymise = true\n"
# These hold the hash of the settings, or the run that follows from it.
OUTSIDE_TABLES = {"manifest.json", "program-review.html", "review.duckdb", "facility-aggregates.json"}


def renamed(text: str) -> str:
    return re.sub(r"(?m)(?<![0-9-])(007|008|009)(?=,(North|South|2025|Safe))", lambda m: IDS[m[1]], text)


def write(folder: Path, privacy: str = PRIVACY) -> Path:
    files = {name: renamed(getattr(facility, name.upper())) for name in ("hours", "incidents", "training")}
    assert all(IDS["007"] in text for text in files.values())
    return facility.write(folder, program=facility.PROGRAM + privacy, **files)


@pytest.fixture(scope="module")
def reviewed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the files and their secret in ``in`` and a review with pseudonyms in ``out``: to be copied."""
    folder = tmp_path_factory.mktemp("pseudonyms")
    assert main(["build", str(write(folder / "in")), "--out", str(folder / "out")]) == 0
    return folder


@pytest.fixture
def keyed(reviewed: Path, tmp_path: Path) -> tuple[Path, Path]:
    """A copy of these files and of their review: the program file and the output folder."""
    for name in ("in", "out"):
        shutil.copytree(reviewed / name, tmp_path / name)
    return tmp_path / "in" / "program.toml", tmp_path / "out"


def outputs(folder: Path) -> dict[str, bytes]:
    found = {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    outside = (*OUTSIDE_TABLES, "snapshots")
    return {name: content for name, content in found.items() if name.split("/")[0] not in outside}


def test_no_id_is_kept_and_every_number_is_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain, program = write(tmp_path / "plain", ""), write(tmp_path / "keyed")
    assert main(["build", str(plain), "--out", str(tmp_path / "one")]) == 0
    assert IDS["007"].encode() in (tmp_path / "one" / "review.duckdb").read_bytes()
    assert main(["build", str(program), "--out", str(tmp_path / "two")]) == 0
    shown = "".join(capsys.readouterr())
    secret = (tmp_path / "keyed" / "program.secret").read_text().strip()
    assert outputs(tmp_path / "one") == outputs(tmp_path / "two")
    for path in (tmp_path / "two").rglob("*"):
        content = path.read_bytes() if path.is_file() else b""
        for one in IDS.values():
            assert one.encode() not in content, path.name
        assert secret.encode() not in content
        assert bytes.fromhex(secret) not in content
    assert secret not in shown
    assert json.loads((tmp_path / "two" / "manifest.json").read_text())["settings"]["privacy"] == {"pseudonymise": True}


def test_two_builds_with_one_secret_are_the_same_to_the_byte(keyed: tuple[Path, Path], tmp_path: Path) -> None:
    program, out = keyed
    assert main(["build", str(program), "--out", str(tmp_path / "two")]) == 0
    one, two = ((folder / "review.duckdb").read_bytes() for folder in (out, tmp_path / "two"))
    assert one == two


def test_the_secret_is_private_and_is_made_once(tmp_path: Path) -> None:
    program = read_program(write(tmp_path))
    first = pseudonyms.make_or_keep(program)
    path = tmp_path / "program.secret"
    assert path.stat().st_mode & 0o777 == 0o600
    assert pseudonyms.make_or_keep(program).check_value == first.check_value
    path.unlink()
    assert pseudonyms.make_or_keep(program).check_value != first.check_value


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda path: path.chmod(0o640), "can be read by others (mode 0640). Run: chmod 600 program.secret"),
        (lambda path: path.unlink(), "the secret behind the pseudonyms is not there. Put it back"),
        (lambda path: path.write_text("short\n"), "no secret made by this program"),
        (lambda path: path.write_text("ab" * 32 + "\n"), "was made with another secret"),
        (lambda path: (path.rename(path.with_name("x")), path.symlink_to(path.with_name("x"))), "a symbolic link"),
    ],
)
def test_a_secret_that_is_lost_open_or_another_is_told(
    change: object, said: str, keyed: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    program, _ = keyed
    before = (tmp_path / "out" / "review.duckdb").read_bytes()
    assert callable(change)
    change(tmp_path / "in" / "program.secret")
    capsys.readouterr()
    assert main(["build", str(program), "--out", str(tmp_path / "out")]) == 3
    shown = "".join(capsys.readouterr())
    assert said in shown
    assert "ab" * 32 not in shown
    assert (tmp_path / "out" / "review.duckdb").read_bytes() == before


def test_a_named_secret_that_is_not_there_is_never_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = write(tmp_path / "in", PRIVACY + 'secret_file = "mine.key"\n')
    assert main(["build", str(program), "--out", str(tmp_path / "out")]) == 3
    assert "mine.key: the secret behind the pseudonyms is not there" in capsys.readouterr().err
    assert not (tmp_path / "in" / "mine.key").exists()


def test_check_and_budget_write_no_secret(tmp_path: Path) -> None:
    program = write(tmp_path)
    assert main(["check", str(program)]) == 0
    assert main(["budget", str(program)]) == 0
    assert not (tmp_path / "program.secret").exists()


def test_the_worklist_needs_the_secret_and_prints_real_ids(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = due_facility.write(tmp_path / "in")
    plain, keyed = tmp_path / "plain.csv", tmp_path / "keyed.csv"
    as_of = ["--as-of", "2025-05-31"]
    assert main(["worklist", str(program), *as_of, "--out", str(plain)]) == 0
    program.write_text(program.read_text(encoding="utf-8") + "\n" + PRIVACY, encoding="utf-8")
    capsys.readouterr()
    assert main(["worklist", str(program), *as_of, "--out", str(keyed)]) == 3
    assert "the secret behind the pseudonyms is not there" in capsys.readouterr().err
    assert not keyed.exists()
    pseudonyms.make_or_keep(read_program(program))
    assert main(["worklist", str(program), *as_of, "--out", str(keyed)]) == 0
    assert keyed.read_bytes() == plain.read_bytes()
    assert len(plain.read_bytes().splitlines()) > 3


@pytest.mark.parametrize(
    ("old", "new", "rule"),
    [
        ("008", "0008", "leading zeros differ between files"),
        ("ab8", "AB8", "upper and lower case differ between files"),
    ],
)
def test_the_shapes_of_ids_are_still_compared(old: str, new: str, rule: str, tmp_path: Path) -> None:
    hours = facility.HOURS.replace("008,South", f"{old},South")
    training = facility.TRAINING.replace("008,Safe", f"{new},Safe")
    incidents = facility.INCIDENTS.replace(",008,", f",{old},")
    found = []
    for name, privacy in (("plain", ""), ("keyed", PRIVACY)):
        path = facility.write(
            tmp_path / name, program=facility.PROGRAM + privacy, hours=hours, training=training, incidents=incidents
        )
        (tmp_path / f"{name}-db").mkdir()
        found.append(measured(read_program(path), date(2025, 7, 31), tmp_path / f"{name}-db").findings)
    assert found[0] == found[1]
    assert rule in {one.rule for one in found[0]}


def test_each_distinct_id_of_a_block_is_keyed_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = "".join(f"{n % 7},Safe handling,2025-01-02,completed\n" for n in range(5000))
    (tmp_path / "t.csv").write_text("employee_id,course,completed_on,status\n" + rows)
    asked: list[int] = []
    keys = pseudonyms.passing()
    real = keys.of

    def counted(ids: pl.Series) -> pl.Series:
        asked.append(len(ids))
        return real(ids)

    monkeypatch.setattr(keys, "of", counted)
    reader = FileReader(examine(tmp_path / "t.csv", contract("training"), {}), contract("training"), Style(), keys)
    assert sum(batch.num_rows for batch in reader.batches()) == 5000
    assert sum(asked) == 7


def test_a_pseudonym_is_hmac_sha_256() -> None:
    """Against Python's own hmac (RFC 2104), digest cut to 128 bits as RFC 2104, section 5 allows."""
    import hashlib
    import hmac

    secret = bytes(range(32))
    expected = hmac.new(secret, b"id:007", hashlib.sha256).hexdigest()[:32]
    assert pseudonyms.Pseudonyms(secret).of(pl.Series(["007", None])).to_list() == [f"p{expected}", None]


def forget(out: Path, person: str, *more: str) -> int:
    (out.parent / "id.txt").write_text(person, encoding="utf-8")
    return main(["forget", str(out), "--reason", "as asked", "--id-file", str(out.parent / "id.txt"), *more])


def test_one_person_is_forgotten_by_id_and_secret(
    keyed: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out = keyed
    secret = tmp_path / "in" / "program.secret"
    gone, stays = pseudonyms.from_file(secret).of(pl.Series("employee_id", [IDS["008"], IDS["009"]])).to_list()
    before = outputs(out)
    assert holds(out, gone)
    assert holds(out, stays)
    assert forget(out, IDS["008"], "--secret-file", str(secret)) == 0
    assert not re.search(f"{IDS['008']}|{gone}", "".join(capsys.readouterr()))
    assert holds(out, gone) == []
    assert holds(out, stays)
    assert outputs(out) == before
    assert main(["verify", str(out)]) == 0


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        ("none", 2, "this review holds pseudonyms. Name the facility's secret with --secret-file"),
        ("another", 2, "was made with another secret. Nothing was removed."),
        ("lost", 3, "the secret cannot be read"),
        ("short", 3, "no secret made by this program"),
    ],
)
def test_without_the_secret_nobody_is_forgotten(
    keyed: tuple[Path, Path], tmp_path: Path, given: str, code: int, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out = keyed
    secret = tmp_path / "one.secret"
    if given in ("another", "short"):
        secret.write_text("cd" * (32 if given == "another" else 3), encoding="ascii")
        secret.chmod(0o600)
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
    assert forget(out, IDS["008"], *(() if given == "none" else ("--secret-file", str(secret)))) == code
    assert said in capsys.readouterr().err
    assert {path: path.read_bytes() for path in out.rglob("*") if path.is_file()} == before


def test_a_secret_is_refused_where_the_review_holds_ids(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program, out = write(tmp_path / "in", ""), tmp_path / "out"
    assert main(["build", str(program), "--out", str(out)]) == 0
    assert forget(out, IDS["008"], "--secret-file", str(tmp_path / "one.secret")) == 2
    assert "this review holds ids, no pseudonyms" in capsys.readouterr().err


def test_ids_kept_before_pseudonyms_are_forgotten_too(tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert main(["build", str(write(tmp_path / "in", "")), "--as-of", "2025-07-31", "--out", str(out)]) == 0
    assert main(["build", str(write(tmp_path / "in")), "--as-of", "2025-08-31", "--out", str(out)]) == 0
    assert holds(out, IDS["008"])  # the rows of the first review
    assert forget(out, IDS["008"], "--secret-file", str(tmp_path / "in" / "program.secret")) == 0
    assert holds(out, IDS["008"]) == []
