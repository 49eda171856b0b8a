"""Values that point at a person, planted in every column and in damaged rows, are looked for in all that is said."""

from __future__ import annotations

import re
import tempfile
from pathlib import Path

import pytest

from handling_review.cli import main
from whole import facility

NAME, STORY, ID = "Zzyzx-Quillon", "fell on wet tiles beside the Qwert lift and hurt her back again", "QX71-PLANTED"
OTHER_ID, DAY, ODD_DAY = "9981237465", "2025-03-17", "17/03/2025"
PLANTED = (NAME, STORY, ID, OTHER_ID, DAY, ODD_DAY, "Mar 17")
HEAD = "case_number,employee_id,employee_name,event_date,unit,outcome,days_away,days_restricted,activity,narrative\n"
ROWS = (
    f"001,{ID},{NAME},2025-01-15,North,days_away,4,0,reposition_in_bed,{STORY}\n002,{OTHER_ID},{NAME},{DAY},North,other_recordable,0,0,lateral_transfer,{STORY}\n"
    f"003,{ID},{NAME},{ODD_DAY},South,days_away,0,3,stand_pivot,{STORY}\n"  # a day in another order
    f"004,{ID},{NAME},{DAY},South,{STORY},0,0,not_handling,\n"  # a story for an outcome
    f"005,{ID},{NAME},{DAY},North,{ID},2,0,toileting,{STORY}\n"  # an id for an outcome
    f"006,{ID},{NAME},{DAY},North,days_away,{OTHER_ID},0,bathing,{STORY}\n"  # an id for days
    f"{NAME},{DAY},007,{ID},North,{STORY},{DAY},{NAME},{OTHER_ID},x\n"  # a row that slipped
    f"008,{ID},{NAME},{DAY},North,days_away,1,0,toileting,{STORY}, {NAME}\n"  # a cell too many
    f'009,{ID},"{NAME}\n{STORY}",{DAY},North,days_away,1,0,toileting,{STORY}\n'
    f"010,{'9' * 30}{ID}{'9' * 60},{NAME},{DAY},North,days_away,1,0,toileting,\n"  # an id that is too long
)


def write(folder: Path) -> Path:
    return facility.write(
        folder,
        incidents=HEAD + ROWS,
        hours=facility.HOURS.replace("007,", f"{ID},").replace("008,", f"{OTHER_ID},"),
        training=facility.TRAINING.replace("007,", f"{ID},").replace("008,Safe", f"{ID},Safe")
        + f"{ID},Safe handling,{NAME},completed\n",
    )


@pytest.mark.parametrize("command", ["check", "build", "budget", "worklist"])
def test_nothing_said_points_at_a_person(command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = write(tmp_path / "in")
    more = {
        "check": ["--findings", str(tmp_path / "findings.csv")],
        "build": ["--out", str(tmp_path / "out")],
        "worklist": ["--out", str(tmp_path / "list.csv")],
    }
    assert main([command, str(program), *more.get(command, [])]) in (0, 1)
    said = "".join(capsys.readouterr())
    said += "".join(p.read_text(encoding="utf-8") for p in tmp_path.glob("findings.csv"))
    for path in (tmp_path / "out").rglob("*"):
        if path.is_file() and path.name != "review.duckdb" and path.parent.name != "snapshots":
            said += path.read_text(encoding="utf-8")
    for value in PLANTED:
        assert value not in said.replace(str(tmp_path), ""), (command, value)


def test_a_file_without_a_header_is_not_read_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = facility.write(tmp_path, incidents=ROWS)
    assert main(["check", str(program)]) == 4
    said = capsys.readouterr().err
    assert "this seems to be a row of data; no line names the columns" in said
    for value in PLANTED:
        assert value not in said


def test_a_proposal_repeats_no_person(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path / "exports")
    (tmp_path / "exports" / "program.toml").unlink()
    assert main(["new", str(tmp_path / "mine"), "--from", str(tmp_path / "exports")]) == 0
    said = "".join(capsys.readouterr()) + (tmp_path / "mine" / "program.toml").read_text(encoding="utf-8")
    for value in (NAME, STORY, ID, OTHER_ID, DAY, ODD_DAY):
        assert value not in said, value


def test_the_log_of_a_fault_holds_no_value(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from handling_review.intake import column

    def broken(*values: object) -> None:
        raise ValueError(f"{NAME} {ID} {values!r}")

    monkeypatch.setattr(column, "failing_rules", broken)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    assert main(["check", str(write(tmp_path / "in"))]) == 70
    said = capsys.readouterr().err + next(tmp_path.glob("handling-review-fault-*.log")).read_text()
    for value in PLANTED:
        assert value not in said
    assert re.search(r"fault of this program", said)
