"""An export in parts: a folder stands for the files in it, and gives the same review as a list of their names."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from handling_review.cli import main
from handling_review.problems import ProgramProblem
from handling_review.program import read_program
from whole import facility

P, H = facility.PROGRAM, facility.HOURS


def in_parts(folder: Path, hours: str) -> Path:
    """The hand facility with its hours in a CSV and a Parquet file; ``hours``: what the program file says of them."""
    program = facility.write(folder, program=P.replace('"hours.csv"', hours))
    (folder / "hours.csv").unlink()
    parts = folder / "hours"
    parts.mkdir()
    (parts / ".note").write_text("hidden")
    header, *rows = H.splitlines()
    (parts / "2025-1.csv").write_text("\n".join([header, *rows[:4]]) + "\n")
    second = pd.DataFrame([row.split(",") for row in rows[4:]], columns=header.split(","))
    second.to_parquet(parts / "2025-2.PARQUET")
    return program


def test_a_folder_gives_what_the_list_of_its_files_gives(tmp_path: Path) -> None:
    one = in_parts(tmp_path / "one", '"hours"')
    other = in_parts(tmp_path / "other", '["hours/2025-1.csv", "hours/2025-2.PARQUET"]')
    assert [path.name for path in read_program(one).files["hours"]] == ["2025-1.csv", "2025-2.PARQUET"]
    for program in (one, other):
        assert main(["build", str(program), "--out", str(program.parent / "out")]) == 0
    tables = sorted(path.name for path in (tmp_path / "one" / "out" / "tables").iterdir())
    assert len(tables) > 20
    for name in tables:
        texts = {
            (folder / "out" / "tables" / name).read_text(encoding="utf-8") for folder in (one.parent, other.parent)
        }
        assert len(texts) == 1, name
    whole = facility.write(tmp_path / "whole")
    assert main(["build", str(whole), "--out", str(tmp_path / "whole" / "out")]) == 0
    rates = [
        (folder / "out" / "tables" / "rates_by_quarter.csv").read_text(encoding="utf-8")
        for folder in (one.parent, whole.parent)
    ]
    assert rates[0] == rates[1]


def test_verify_holds_every_file_of_a_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = in_parts(tmp_path / "in", '"hours"')
    out = tmp_path / "out"
    assert main(["build", str(program), "--out", str(out)]) == 0
    assert main(["verify", str(out), "--inputs", str(program)]) == 0
    part = program.parent / "hours" / "2025-1.csv"
    part.write_text(part.read_text().replace("450", "451"))
    capsys.readouterr()
    assert main(["verify", str(out), "--inputs", str(program)]) == 1
    assert "2025-1.csv" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("notes.docx", "the folder hours/ holds 'notes.docx', which is no CSV or Parquet file"),
        ("older/", "the folder hours/ holds 'older', which is no CSV or Parquet file"),
    ],
)
def test_what_is_no_export_is_refused_and_not_left_out(name: str, said: str, tmp_path: Path) -> None:
    program = in_parts(tmp_path, '"hours"')
    inside = tmp_path / "hours" / name
    inside.mkdir() if name.endswith("/") else inside.write_text("")
    with pytest.raises(ProgramProblem) as told:
        read_program(program)
    assert said in str(told.value)


def test_a_linked_folder_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = in_parts(tmp_path / "in", '"linked"')
    (tmp_path / "in" / "linked").symlink_to(tmp_path / "in" / "hours")
    assert main(["check", str(program)]) == 4
    assert "linked: this is a symbolic link" in capsys.readouterr().err
