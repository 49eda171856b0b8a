"""`new` and `new --from`: a folder to fill in, or a program file proposed from the exports that are there."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from handling_review.cli import main
from handling_review.program import FILE_NAMES, read_program
from whole import facility


def test_new_writes_what_a_newcomer_needs_and_the_program_file_reads(tmp_path: Path) -> None:
    assert main(["new", str(tmp_path / "mine")]) == 0
    names = {p.name for p in (tmp_path / "mine").iterdir()}
    assert names == {"program.toml", "data-dictionary.md", *(f"{name}.csv" for name in FILE_NAMES)}
    assert read_program(tmp_path / "mine" / "program.toml").training.washout_days == 30


def test_new_overwrites_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "notes.txt").write_text("x")
    assert main(["new", str(tmp_path)]) == 5
    assert "is not an empty folder" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["notes.txt"]


def exports(folder: Path) -> Path:
    folder.mkdir()
    hours = facility.HOURS.replace(
        "employee_id,unit,period_start,period_end,hours", "Emp No;Dept;Pay Period Start;Pay Period End;Hrs;Earn Code", 1
    )
    lines = hours.splitlines()
    rows = [line.replace(",", ";") + ";REG" for line in lines[1:]]
    (folder / "payroll 2025.csv").write_text("Payroll report\n\n" + "\n".join([lines[0], *rows]) + "\n")
    log = facility.INCIDENTS.replace(
        "case_number,employee_id,event_date,unit,outcome", "Case No,Employee ID,Date of Injury,Location,Classification"
    )
    log = (
        log.replace("2025-01-15", "01/15/2025")
        .replace("days_away,4", "LT,4")
        .replace(",South,other", ",SOUTH WING,other")
    )
    (folder / "osha log.csv").write_text(log)
    pl.read_csv(facility.TRAINING.encode()).rename({"completed_on": "Completion Date"}).write_parquet(
        folder / "lms.parquet"
    )
    (folder / "menu.csv").write_text("day,soup\nMonday,leek\n")
    return folder


def test_a_mapping_is_proposed_and_what_is_open_is_marked(tmp_path: Path) -> None:
    folder = exports(tmp_path / "exports")
    assert main(["new", str(tmp_path / "mine"), "--from", str(folder)]) == 0
    text = (tmp_path / "mine" / "program.toml").read_text()
    for line in (
        'incidents = "../exports/osha log.csv"',
        'hours = "../exports/payroll 2025.csv"',
        'training = "../exports/lms.parquet"',
        "# CHECK: menu.csv looks like none of the files of a review",
        'employee_id = "Emp No"',
        'unit = "Dept"',
        'period_start = "Pay Period Start"',
        'hours = "Hrs"',
        'pay_code = "Earn Code"',
        'event_date = "Date of Injury"',
        'completed_on = "Completion Date"',
        'incidents = "mdy"',
        '"LT" = "?"',
        '# "SOUTH WING" = "?"',
        '# CHECK: sort these codes: "REG"',
    ):
        assert line in text, line
    assert read_program(tmp_path / "mine" / "program.toml").columns["hours"]["hours"] == "Hrs"


def test_a_proposal_leads_to_a_clean_check_once_it_is_settled(tmp_path: Path) -> None:
    folder = exports(tmp_path / "exports")
    main(["new", str(tmp_path / "mine"), "--from", str(folder)])
    path = tmp_path / "mine" / "program.toml"
    text = path.read_text().replace("worked = []", 'worked = ["REG"]', 1).replace('"LT" = "?"', '"LT" = "days_away"')
    text = text.replace('# "SOUTH WING" = "?"', '"SOUTH WING" = "South"')
    path.write_text(text + "\n[ids]\nzero_pad = 3\n")
    assert main(["check", str(path), "--as-of", "2025-07-31"]) in (0, 1)
    assert main(["build", str(path), "--as-of", "2025-07-31", "--out", str(tmp_path / "out")]) == 0


FORM_300 = """\
(A) Case no.,Emp ID,(C) Job title,(D) Date of injury or onset of illness,(E) Where the event occurred,(G) Death,\
(H) Days away from work,(I) Job transfer or restriction,(J) Other recordable cases,(K) Away from work,\
(L) On job transfer or restriction
25-001,007,CNA,02/14/2025,North,,X,,,5,0
25-002,008,CNA,03/31/2025,South,,,X,,0,12
"""


def test_the_headings_of_form_300_and_clocks_and_day_numbers_are_known(tmp_path: Path) -> None:
    """Column letters and headings of OSHA's Form 300 (29 CFR 1904.29, Form 300, rev. 04/2004)."""
    folder = tmp_path / "exports"
    folder.mkdir()
    (folder / "log.csv").write_text(FORM_300)
    days = [f"2025-{month:02d}-{day:02d}" for month in (1, 2, 3, 4) for day in range(1, 29)]
    shifts = [f"{one},{unit},{day},7:30" for day in days for one, unit in (("007", "North"), ("008", "South"))]
    (folder / "hours.csv").write_text("\n".join(["Emp ID,Dept,Work Date,Hrs", *shifts]) + "\n")
    # 45748 is 1 April 2025 in day numbers from 1900
    (folder / "training.csv").write_text("Emp ID,Course,Completed,Status\n007,Safe handling,45748,Completed\n")
    assert main(["new", str(tmp_path / "mine"), "--from", str(folder)]) == 0
    text = (tmp_path / "mine" / "program.toml").read_text()
    for line in (
        'case_number = "(A) Case no."',
        'event_date = "(D) Date of injury or onset of illness"',
        'tick_death = "(G) Death"',
        'tick_days_away = "(H) Days away from work"',
        'tick_restricted = "(I) Job transfer or restriction"',
        'tick_other = "(J) Other recordable cases"',
        'days_away = "(K) Away from work"',
        'days_restricted = "(L) On job transfer or restriction"',
        'written_as = "hh:mm"',
        'training = "serial"',
        'incidents = "mdy"',
    ):
        assert line in text
    read_program(tmp_path / "mine" / "program.toml")
    assert main(["check", str(tmp_path / "mine" / "program.toml")]) in (0, 1)


@pytest.mark.parametrize(("name", "code"), [("nothing", 5), ("empty", 4)])
def test_a_folder_without_exports_is_told(tmp_path: Path, name: str, code: int) -> None:
    (tmp_path / "empty").mkdir()
    assert main(["new", str(tmp_path / "mine"), "--from", str(tmp_path / name)]) == code
    assert not (tmp_path / "mine").exists()
