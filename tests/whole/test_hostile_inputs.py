"""No input runs code, reaches another file, hangs or takes the memory of the machine: one sentence, an exit code."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from handling_review import starter
from handling_review.cli import main
from handling_review.problems import ProgramProblem
from handling_review.program import read_program
from handling_review.store.database import Store
from whole import facility
from whole.hostile import MB, PAYLOADS, attack

H, P = facility.HOURS, facility.PROGRAM
BIG_ENOUGH = 80 * MB  # more than two blocks of 32 MB; the full size is a command: tests/bench/hostile_inputs.py
MARK = "pwned-by-input"
RUNS_CODE = (
    f"{{{{ cycler.__init__.__globals__.os.system('touch {MARK}') }}}}",
    f"{{% for x in ().__class__.__base__.__subclasses__() %}}{MARK}{{% endfor %}}",
    f"'); COPY (SELECT 1) TO '{MARK}'; --",
    f"\"; ATTACH '{MARK}' AS x; --",
    f"$(touch {MARK})`touch {MARK}`",
    f"=cmd|'/c touch {MARK}'!A1",
    f"__import__('os').system('touch {MARK}')",
    f"<script>document.title='{MARK}'</script><img src=x onerror=alert(1)>",
    "%s%s%s%n {0.__class__} {settings}",
)


@pytest.mark.parametrize("payload", RUNS_CODE)
def test_text_that_is_code_elsewhere_is_text_here(
    payload: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")
    quoted = '"' + payload.replace('"', '""') + '"'
    program = P.replace('"Hand check"', json.dumps(payload))
    files = {
        "program": f'{program}[units.aliases]\n{json.dumps(payload)} = "North"\n',
        "hours": H.replace(",North,", f",{quoted},", 1),
        "incidents": facility.INCIDENTS.replace("toileting", quoted),
        "training": facility.TRAINING.replace("Safe handling", quoted, 1),
    }
    assert main(["build", str(facility.write(tmp_path / "in", **files)), "--out", str(tmp_path / "out")]) in (0, 4)
    assert list((tmp_path / "work").iterdir()) == []
    assert "Traceback" not in "".join(capsys.readouterr())
    page = tmp_path / "out" / "program-review.html"
    if page.exists():
        assert "<script>document.title" not in page.read_text(encoding="utf-8")
        assert "onerror=alert(1)>" not in page.read_text(encoding="utf-8").replace("&gt;", "")


REACHES_OUT = (
    "COPY (SELECT 1) TO 'x.csv'",
    "SELECT * FROM read_csv('/etc/passwd')",
    "SELECT * FROM read_text('/etc/passwd')",
    "SELECT * FROM '/etc/passwd'",
    "SELECT * FROM glob('/*')",
    "ATTACH 'other.duckdb' AS other",
    "INSTALL httpfs",
    "LOAD httpfs",
    "SELECT * FROM read_parquet('http://127.0.0.1:9/x.parquet')",
    "SELECT getenv('HOME')",
    "SET enable_external_access = true",
    "SET lock_configuration = false",
    "EXPORT DATABASE 'x'",
    "CREATE SECRET s (TYPE s3)",
    "PRAGMA enable_profiling; PRAGMA profiling_output='x.json'",
)


@pytest.mark.parametrize("sql", REACHES_OUT)
def test_the_database_has_no_way_out(sql: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")
    with Store(tmp_path / "one.duckdb", tmp_path / "spill") as store, pytest.raises(duckdb.Error):
        store.scalar(sql)
    assert list((tmp_path / "work").iterdir()) == []


@pytest.mark.parametrize("name", ["../hours.csv", "/etc/hosts", "a/../../hours.csv", "linked/hours.csv"])
def test_a_path_that_leads_out_is_refused_unless_it_is_stated(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    program = facility.write(tmp_path / "in", program=P.replace('"hours.csv"', f'"{name}"'))
    (tmp_path / "else").mkdir()
    (tmp_path / "else" / "hours.csv").write_text(H)
    (tmp_path / "hours.csv").write_text(H)
    (tmp_path / "in" / "linked").symlink_to(tmp_path / "else")
    assert main(["check", str(program)]) == 3
    assert "leads out of the folder of the program file" in capsys.readouterr().err
    allowed = P.replace('"hours.csv"', f'"{name}"').replace("[files]", "[files]\nallow_outside = true")
    program = facility.write(tmp_path / "in", program=allowed)
    assert main(["check", str(program)]) == (4 if name == "/etc/hosts" else 0)


def test_a_name_that_stays_inside_is_read(tmp_path: Path) -> None:
    program = facility.write(tmp_path, program=P.replace('"hours.csv"', '"sub/../sub/hours.csv"'))
    (tmp_path / "sub").mkdir()
    (tmp_path / "hours.csv").rename(tmp_path / "sub" / "hours.csv")
    assert main(["check", str(program)]) == 0


def test_a_name_with_a_nul_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ProgramProblem, match="NUL character"):
        read_program(facility.write(tmp_path, program=P.replace('"hours.csv"', '"hours\\u0000.csv"')))


def _special(path: Path, kind: str) -> None:
    path.unlink()
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "link":
        (path.parent / "real.csv").write_text(H)
        path.symlink_to(path.parent / "real.csv")
    elif kind == "folder":
        path.mkdir()
    elif kind == "socket":
        with socket.socket(socket.AF_UNIX) as one:
            one.bind(str(path))


@pytest.mark.parametrize(
    ("kind", "said"),
    [("pipe", "a pipe"), ("link", "a symbolic link"), ("folder", "a folder"), ("socket", "a socket")],
)
@pytest.mark.parametrize("file", ["hours.csv", "program.toml"])
def test_only_plain_files_are_read_and_nothing_waits(
    kind: str, said: str, file: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    facility.write(tmp_path)
    monkeypatch.chdir(tmp_path)  # the name of a socket must be short
    _special(Path(file), kind) if kind == "socket" else _special(tmp_path / file, kind)
    code = main(["check", str(tmp_path / "program.toml")])
    shown = capsys.readouterr().err
    if (file, kind) == ("hours.csv", "folder"):  # a folder stands for the exports in it
        assert code == 3
        assert "[files] hours: the folder hours.csv/ is empty. Put the exports there." in shown
    else:
        assert code == (3 if file == "program.toml" else 4)
        assert f"{file}: this is {said}" in shown


def test_a_device_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = P.replace("[files]", "[files]\nallow_outside = true").replace('"hours.csv"', '"/dev/zero"')
    assert main(["check", str(facility.write(tmp_path, program=text))]) == 4
    assert "zero: this is a device" in capsys.readouterr().err


def test_a_file_that_changes_between_two_readings_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from handling_review.intake import dialect
    from handling_review.intake.opening import open_again
    from handling_review.problems import DataProblem

    path = tmp_path / "hours.csv"
    path.write_text(H)
    found = dialect.scan_bytes(path)
    open_again(path, found.seen).close()
    path.write_text(H + "x")
    with pytest.raises(DataProblem, match="changed while it was being read"):
        open_again(path, found.seen)


@pytest.mark.parametrize("name", PAYLOADS)
def test_memory_stays_bounded(name: str, tmp_path: Path) -> None:
    met, code, words = attack(tmp_path, name, BIG_ENOUGH)
    assert words in met.said
    assert "Traceback" not in met.said
    assert met.code == code
    assert met.peak_mb < 1024


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 200_000, "x" * (1 << 21), "a = " + "9" * 100_000, "a." * 100_000 + "b = 1"]
)
def test_a_program_file_made_to_hurt_is_told(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(facility.write(tmp_path, program=text))]) == 3
    assert len(capsys.readouterr().err) < 2000


@pytest.mark.parametrize("umask", [0, 0o077, 0o377 & 0o277])
def test_database_and_spill_are_private_from_the_first_byte(umask: int, tmp_path: Path) -> None:
    before = os.umask(umask & 0o077)
    try:
        with Store(tmp_path / "one.duckdb", tmp_path / "spill") as store:
            store.fill("a", [("x", "INTEGER")], [[1]])
            seen = {p.name: p.stat().st_mode & 0o777 for p in tmp_path.iterdir()}
        assert seen["one.duckdb"] == 0o600
        assert seen["spill"] == 0o700
        assert all(mode & 0o077 == 0 for mode in seen.values()), seen
        assert os.umask(umask & 0o077) == umask & 0o077
    finally:
        os.umask(before)


def test_a_build_opens_no_socket(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise AssertionError("the tool asked for the network")

    for name in ("socket", "create_connection", "getaddrinfo"):
        monkeypatch.setattr(socket, name, refused)
    assert main(["build", str(facility.write(tmp_path / "in")), "--out", str(tmp_path / "out")]) == 0


def _can_unshare() -> bool:
    tool = shutil.which("unshare")
    return tool is not None and subprocess.run([tool, "-n", "true"], capture_output=True, check=False).returncode == 0


@pytest.mark.skipif(not _can_unshare(), reason="needs the right to make a network namespace")
def test_a_build_succeeds_where_there_is_no_network(tmp_path: Path) -> None:
    program = starter.copy_sample(tmp_path / "in")
    command = ["unshare", "-n", sys.executable, "-m", "handling_review", "check", str(program), "--as-of", "2026-10-10"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stderr
    assert done.stderr == ""
