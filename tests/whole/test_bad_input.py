"""Bad input through the command line: one clear sentence, the right exit code, the last good review untouched."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from handling_review.cli import main
from whole import facility

H = facility.HOURS
I = facility.INCIDENTS  # noqa: E741 - reads as the incidents column of the table below
T = facility.TRAINING

CASES: dict[str, tuple[dict[str, str | bytes], list[str]]] = {
    "empty file": ({"incidents": ""}, ["incidents.csv: the file is empty", "not the same as no injuries"]),
    "header only": (
        {"incidents": I.splitlines()[0] + "\n"},
        ["incidents.csv, line 1: a header and no rows", "not the same as no injuries"],
    ),
    "no hours rows": ({"hours": H.splitlines()[0] + "\n"}, ["hours.csv, line 1: a header and no rows"]),
    "no training rows": ({"training": T.splitlines()[0] + "\n"}, ["training.csv, line 1: a header and no rows"]),
    "missing column": (
        {"hours": H.replace("hours\n", "hrs_worked\n", 1)},
        ["hours.csv, line 1: no column 'hours'", 'add hours = "hrs_worked" under [columns.hours]', "'period_end'"],
    ),
    "missing columns, none near": (
        {"training": "a,b,c\n1,2,3\n"},
        ["training.csv, line 1: no columns 'employee_id', 'course', 'completed_on', 'status'", "'a', 'b', 'c'"],
    ),
    "two columns of one name": (
        {"hours": H.replace("period_end", "period_start", 1)},
        ["hours.csv, line 1: two columns are called 'period_start'"],
    ),
    "spreadsheet renamed": (
        {"hours": b"PK\x03\x04" + b"\0" * 40},
        ["hours.csv: this is a spreadsheet", "save it as CSV"],
    ),
    "unreadable bytes": (
        {"hours": H.encode().replace(b"North", b"No\x81rth", 1)},
        ["hours.csv, line 2: byte 0x81", "Export the file again"],
    ),
    "NUL bytes": ({"hours": H.encode() + b"\0"}, ["hours.csv, line 10: a NUL byte"]),
    "hours with text only": (
        {"hours": "\n".join(H.splitlines()[:3]).replace("450", "many").replace("455", "x") + "\n"},
        ["None of the 2 rows can be used", "hours.csv, line 2, column hours: found 'many'; this is not a number"],
    ),
    "dates in another order": (
        {"training": "employee_id,course,completed_on,status\n007,Safe handling,03/13/2025,completed\n"},
        ["training.csv, line 2, column completed_on: found '03/13/2025'", 'training = "mdy" under [dates]'],
    ),
    "unit without hours": (
        {"incidents": I.replace("South,other", "Atlantis,other")},
        ["incidents.csv, line 5", "'Atlantis'", "no row in the hours file", "[units.aliases]"],
    ),
    "unmapped pay code": (
        {
            "hours": "\n".join(
                f"{line},{code}" for line, code in zip(H.splitlines(), ["pay_code", *["REG"] * 8], strict=True)
            )
        },
        ["hours.csv, line 2: 'REG'", "[pay_codes]", "8 rows", "2,172.0 hours", "worked, not_worked or premium_only"],
    ),
    "open quotation mark": (
        {"incidents": I.replace("002,007", '"002,007', 1)},
        ["incidents.csv, line 3: a quotation mark opens here and never closes"],
    ),
    "period outside the hours": (
        {
            "program": facility.PROGRAM.replace("start = 2025-01-01", "start = 2025-06-01").replace(
                "2025-06-30", "2025-05-30"
            )
        },
        ["program.toml: [review] start 2025-06-01 is after end 2025-05-30"],
    ),
}
EXIT_CODES = {"period outside the hours": 3}


def fingerprint(folder: Path) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


@pytest.fixture
def last_good(hand_review: tuple[Path, Path], tmp_path: Path) -> Callable[[], dict[str, str]]:
    """A finished review in ``out``, and a way to ask for its fingerprint again."""
    for folder, name in zip(hand_review, ("good", "out"), strict=True):
        shutil.copytree(folder, tmp_path / name)
    return lambda: fingerprint(tmp_path / "out")


@pytest.mark.parametrize("name", CASES)
def test_bad_input_is_told_in_a_sentence(
    name: str, tmp_path: Path, last_good: Callable[[], dict[str, str]], capsys: pytest.CaptureFixture[str]
) -> None:
    before = last_good()
    changed, said = CASES[name]
    program = facility.write(tmp_path / "bad", **changed)
    capsys.readouterr()
    code = main(["build", str(program), "--out", str(tmp_path / "out")])
    shown = capsys.readouterr()
    for part in said:
        assert part in shown.err
    assert "Traceback" not in shown.err + shown.out
    assert code == EXIT_CODES.get(name, 4)
    assert last_good() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bad", "good", "out"]


def test_a_missing_file_is_named_with_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = facility.write(tmp_path / "bad")
    (tmp_path / "bad" / "hours.csv").unlink()
    (tmp_path / "bad" / "training.csv").write_text("")
    assert main(["check", str(program)]) == 4
    shown = capsys.readouterr().err
    assert "hours.csv: there is no such file in bad/" in shown
    assert "training.csv: the file is empty" in shown  # all problems at once


def test_a_date_that_does_not_parse_sets_the_row_aside(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = facility.write(tmp_path / "p", incidents=I.replace("2025-03-20", "2025-02-30"))
    assert main(["check", str(program)]) == 1
    shown = capsys.readouterr().out
    assert "incidents.csv, line 3, column event_date: found '2025-02-30'" in shown
    assert "The row is set aside." in shown


def test_hours_with_text_sets_the_row_aside(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = facility.write(tmp_path / "p", hours=H.replace(",364", ",36 4h"))
    assert main(["check", str(program)]) == 1
    assert "hours.csv, line 5, column hours: found '36 4h'; this is not a number." in capsys.readouterr().out


def test_a_clean_program_checks_clean(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(facility.write(tmp_path / "p"))]) == 0
    assert "Nothing found that needs a look." in capsys.readouterr().out


def test_an_employee_id_is_never_shown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    secret = "4711-SECRET-" + "9" * 60  # longer than an id may be
    program = facility.write(tmp_path / "p", training=T.replace("007", secret))
    main(["check", str(program), "--findings", str(tmp_path / "findings.csv")])
    shown = capsys.readouterr()
    assert "this is longer than 64 characters" in shown.out
    assert "SECRET" not in shown.out + shown.err + (tmp_path / "findings.csv").read_text()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "no command given"),
        (["built"], "invalid choice"),
        (["build"], "needs a program file"),
        (["build", "x.toml", "--as-of", "June"], "is not a date such as"),
    ],
)
def test_wrong_usage_ends_with_2(arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    try:
        code: object = main(arguments)
    except SystemExit as stop:  # argparse ends the program itself
        code = stop.code
    assert code == 2
    assert said in capsys.readouterr().err


class PanicException(BaseException):
    """As libraries written in Rust end: no kind of Exception."""


@pytest.mark.parametrize("fault", [ZeroDivisionError, PanicException])
def test_a_fault_of_the_program_is_one_line_and_a_private_log(
    fault: type[BaseException], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import tempfile

    from handling_review import review

    secret = "employee 4711-" + "SECRET"

    def broken(*_: object) -> None:
        raise fault(secret)

    monkeypatch.setattr(review, "check", broken)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    assert main(["check", str(facility.write(tmp_path / "p"))]) == 70
    shown = capsys.readouterr().err
    assert len(shown.strip().splitlines()) == 1
    assert "SECRET" not in shown
    log = next(tmp_path.glob("handling-review-fault-*.log"))
    assert fault.__name__ in log.read_text()
    assert "SECRET" not in log.read_text()
    assert log.stat().st_mode & 0o777 == 0o600
