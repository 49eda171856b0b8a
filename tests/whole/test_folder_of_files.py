"""An export in parts: a folder stands for the files in it, and gives the same review as a list of their names."""

from __future__ import annotations

import shutil
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


@pytest.fixture(scope="module")
def as_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the files in ``in``, hours as a folder, and their review in ``out``: to be read, or copied."""
    home = tmp_path_factory.mktemp("as-folder")
    assert main(["build", str(in_parts(home / "in", '"hours"')), "--out", str(home / "out")]) == 0
    return home


def test_a_folder_gives_what_the_list_of_its_files_gives(
    as_folder: Path, hand_review: tuple[Path, Path], tmp_path: Path
) -> None:
    listed = in_parts(tmp_path / "other", '["hours/2025-1.csv", "hours/2025-2.PARQUET"]')
    names = [path.name for path in read_program(as_folder / "in" / "program.toml").files["hours"]]
    assert names == ["2025-1.csv", "2025-2.PARQUET"]
    assert main(["build", str(listed), "--out", str(tmp_path / "out")]) == 0
    tables = sorted(path.name for path in (as_folder / "out" / "tables").iterdir())
    assert len(tables) > 20
    for name in tables:
        texts = {(home / "out" / "tables" / name).read_text(encoding="utf-8") for home in (as_folder, tmp_path)}
        assert len(texts) == 1, name
    rates = [
        (out / "tables" / "rates_by_quarter.csv").read_text(encoding="utf-8")
        for out in (as_folder / "out", hand_review[1])
    ]
    assert rates[0] == rates[1]


def test_verify_holds_every_file_of_a_folder(
    as_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("in", "out"):
        shutil.copytree(as_folder / name, tmp_path / name)
    program, out = tmp_path / "in" / "program.toml", tmp_path / "out"
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
