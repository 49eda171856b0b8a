"""What only shows when files are held against each other: other periods, people before and after their time, units too.

One change to the hand facility a line. The screens are common practice without a source; each says so by what it finds.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from handling_review.cli import main
from spec.mess import H, I, T, Trap, and_file, files_list, hold, with_column
from whole import facility

ALL = 450 + 455 + 360 + 364 + 90 + 91 + 180 + 182  # hours of the hand facility
HEADER = H.splitlines()[0] + "\n"
RUSSIAN = "employee_id,Отделение,period_start,period_end,часы\n"
WEST = I.replace("South,other_recordable", "West,other_recordable")  # case 004 happened in a unit of its own
CODES = '[pay_codes]\nworked = ["REG"]\nnot_worked = ["PTO"]\n'

TRAPS = {
    "a unit whose only hours are paid time off has no hours worked": Trap(
        {"hours": with_column(H, "pay_code", "REG") + ",West,2025-01-01,2025-03-31,40,PTO\n", "incidents": WEST},
        program=CODES,
        finds=("unit without hours worked @ 5",),
        says=("'West' has 1 cases in the review and no hours worked in it",),
        suggests=('[units.aliases]\n"West" = "?"',),
        rows={"hours": {"used": 8, "not worked": 1}},
        hours={"": ALL, "West": 0},
        events={"recordable": 5},
    ),
    "a unit whose only hours lie before the review": Trap(
        {"hours": H + ",West,2024-01-01,2024-03-31,40\n", "incidents": WEST},
        finds=("unit without hours worked @ 5",),
        rows={"hours": {"used": 8, "outside the review period": 1}},
        hours={"": ALL},
        events={"recordable": 5},
    ),
    "a log of last year is not a year without injuries": Trap(
        {"incidents": I.replace("2025-", "2024-")},
        finds=("no case in the review @ 0",),
        says=("none of the 6 cases lies on a day of the review; they run from 2024-01 to 2024-06",),
        rows={"incidents": {"used": 0, "outside the review period": 6}},
        events={"recordable": 0},
    ),
    "a later extract with other hours of the same person and period: told, both are counted": Trap(
        {"hours2": HEADER + "007,North,2025-01-01,2025-03-31,440\n009,North,2025-04-01,2025-06-30,91\n"},
        swap=files_list("hours", "hours", "hours2"),
        finds=("other hours in an earlier file @ 2",),
        says=("hours2.csv, line 2", "1 rows (440.0 hours)"),
        rows={"hours": {"used": 9, "already in another file": 1}},
        hours={"": ALL + 440},
    ),
    "agency hours of one unit and period in two files are two invoices": Trap(
        {"hours2": HEADER + ",South,2025-01-01,2025-03-31,44\n"},
        swap=files_list("hours", "hours", "hours2"),
        rows={"hours": {"used": 9}},
        hours={"": ALL + 44},
    ),
    "hours and a case after a unit closed": Trap(
        {
            "units": "unit,opened_on,closed_on\nNorth,2010-01-01,2025-05-31\nSouth,2025-04-01,\n",
        },
        swap=and_file("units"),
        finds=("outside the life of the unit @ 0", "outside the life of the unit @ 0"),
        says=(
            "'North' has 0 hours and 1 cases before it opened or after it closed",  # case 006 on 10 June
            "'South' has 540 hours and 1 cases",  # 360 + 180 in January to March, and case 003
        ),
    ),
    "the last period ends after the day of the export": Trap(
        {"hours": H.replace("2025-06-30", "2025-07-13")},
        swap={"as_of = 2025-07-31": "as_of = 2025-07-05", "hours_complete_through = 2025-06-30\n": ""},
        finds=("last period may not be complete @ 0",),
        says=("the period 2025-04-01 to 2025-07-13 ends after the exports were taken (2025-07-05)",),
        hours={"2025-Q1": 450 + 360 + 90 + 180, "2025-Q2": (455 + 364 + 91 + 182) * 91 / 104},
    ),
    "an injury in January of a person whose hours begin in May": Trap(
        {"hours": H.replace("007,North,2025-01-01,2025-03-31,450\n007,North,2025-04-01", "007,North,2025-05-01")},
        finds=("case outside employment @ 2", "trained outside employment @ 0"),
        says=("1 cases lie over 92 days away", "1 people have their first completion over 31 days before"),
        rows={"hours": {"used": 7}},
        hours={"": ALL - 450, "North 2025-Q2": 455 + 91},
        events={"recordable": 5, "before recordable": 1 + 1, "washout recordable": 1},
    ),
    "an injury and a first completion long after the last hours": Trap(
        {
            "hours": H.replace("008,South,2025-01-01,2025-03-31", "008,South,2025-01-01,2025-01-31").replace(
                "008,South,2025-04-01,2025-06-30,364\n", ""
            ),
            "training": T.replace("008,Safe handling,2025-04-10", "008,Safe handling,2025-05-12"),
        },
        finds=("case outside employment @ 6", "trained outside employment @ 0"),
        says=("0 people have their first completion", "1 over 31 days after their last"),
        rows={"hours": {"used": 7}},
        hours={"": ALL - 364},
        events={"recordable": 5},
    ),
    "headers in another script, mapped; the header line repeated": Trap(
        {"hours": H.replace(HEADER, RUSSIAN, 1).replace("008,South,2025-01", RUSSIAN + "008,South,2025-01", 1)},
        program='[columns.hours]\nunit = "отделение"\nhours = "Часы"\n',
        rows={"hours": {"used": 8, "repeated header": 1}},
    ),
    "a web page that a system calls a spreadsheet": Trap(
        {"hours": "\ufeff\n<HTML><table><tr><td>employee_id</td></tr></table></HTML>"},
        refused=("hours.csv: this is a web page or XML", "save it as CSV"),
    ),
    "a subtotal named after its unit": Trap(
        {
            "hours": "\n".join(sorted(H.splitlines()[1:], key=lambda row: row.split(",")[1]))
            .join([HEADER, "\nSouth total:,,,,1086\nGrand total,,,,2172\n"])
            .replace("008,South,2025-01", "North subtotal,,,,1086\n008,South,2025-01", 1)
        },
        finds=("totals row @ 6", "totals row @ 11", "totals row @ 12"),
        says=("as they should",),
        rows={"hours": {"used": 8, "totals row": 3}},
    ),
}


@pytest.mark.parametrize("trap", [pytest.param(trap, id=name) for name, trap in TRAPS.items()])
def test_files_against_each_other(trap: Trap, tmp_path: Path) -> None:
    hold(trap, tmp_path)


def test_a_unit_without_hours_worked_stops_the_build(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = facility.write(tmp_path / "files", hours=H + ",West,2024-01-01,2024-03-31,40\n", incidents=WEST)
    assert main(["build", str(program), "--out", str(tmp_path / "out")]) == 4
    assert "its rate would be infinite" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
