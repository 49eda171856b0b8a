"""More of what real exports hold: half periods, spellings in the program file, totals among units, unknown headers."""

from __future__ import annotations

from pathlib import Path

import pytest

from handling_review.intake.contracts import contract
from handling_review.intake.dialect import examine
from handling_review.problems import DataProblem
from spec.mess import H, I, T, Trap, hold

HALF = "employee_id,unit,period_start,period_end,work_date,hours\n" + "".join(
    f"{row[: -len(row.split(',')[-1]) - 1]},,{row.split(',')[-1]}\n" for row in H.splitlines()[1:]
)

TRAPS = {
    # A period counts with both its ends; with one, the day of work does, also for where the review begins and ends.
    "a start without an end gives way to the day of work": Trap(
        change={"hours": HALF + "009,North,2019-01-01,,2025-06-30,0\n"}
    ),
    "codes and courses in the program file are tidied like the cells": Trap(
        swap={'["Safe handling"]': '["  SAFE   handling "]'},
    ),
    "aliases in the program file are tidied like the cells": Trap(
        change={"hours": H.replace("008,South", "008,Sth  wing")},
        program='[units.aliases]\n" sth   WING " = "South"\n',
    ),
    "a totals row among the units is no unit": Trap(
        change={"units": "unit,program_start,beds\nNorth,2025-02-01,20\nSouth,,18\nTotal,,38\n"},
        swap={"[files]\n": '[files]\nunits = "units.csv"\n'},
        rows={"units": {"used": 2, "totals row": 1}},
        hours={"": 450 + 455 + 360 + 364 + 90 + 91 + 180 + 182},
    ),
}


@pytest.mark.parametrize("trap", TRAPS.values(), ids=TRAPS)
def test_more(trap: Trap, tmp_path: Path) -> None:
    hold(trap, tmp_path)


def test_a_date_out_of_the_declared_order_is_told_in_that_order(tmp_path: Path) -> None:
    hold(
        Trap(
            change={"training": T.replace("2025-03-01", "01/03/2025").replace("2025-04-10", "31/31/2025")},
            program='[dates]\ntraining = "dmy"\n',
            finds=("completed_on: type @ 3",),
            says=("written day/month/year, as the program file says",),
            rows={"training": {"used": 2, "completed_on: type": 1}},
            hours={"": 450 + 455 + 360 + 364 + 90 + 91 + 180 + 182},
        ),
        tmp_path,
    )


@pytest.mark.parametrize(
    ("header", "words"),
    [
        # Usual names in other systems are proposed, all of them at once.
        (
            "Emp ID,Cost Center,Pay Period Begin,Pay Period End,Hours Worked",
            ('unit = "Cost Center"', 'hours = "Hours Worked"'),
        ),
        ("employee_id,unit,period_start,period_end,hors", ('hours = "hors"',)),
        # Nothing alike is not proposed.
        ("employee_id,Note,period_start,period_end,hours", ("no column 'unit'. If it has another name",)),
    ],
)
def test_missing_columns_are_named_all_at_once_and_only_likely_ones_proposed(
    tmp_path: Path, header: str, words: tuple[str, ...]
) -> None:
    path = tmp_path / "hours.csv"
    path.write_text(header + "\n" + "\n".join(H.splitlines()[1:]) + "\n")
    with pytest.raises(DataProblem) as problem:
        examine(path, contract("hours"), {})
    for word in words:
        assert word in str(problem.value)
    assert 'unit = "Note"' not in str(problem.value)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_stray_byte_is_found_on_its_line_whatever_ends_the_lines(tmp_path: Path, end: str) -> None:
    text = I.replace("lateral_transfer", "lat\u00e9ral_transfer").replace("\n", end)
    path = tmp_path / "incidents.csv"
    path.write_bytes(text.encode("cp1252"))
    assert examine(path, contract("incidents"), {}).odd_line == 3
    path.write_bytes(text.encode("utf-8").replace(b"stand_pivot", b"stand\0pivot"))
    with pytest.raises(DataProblem, match="line 4: a NUL byte"):
        examine(path, contract("incidents"), {})


def test_a_subtotal_is_held_against_the_rows_since_the_total_before_it(tmp_path: Path) -> None:
    head, *rows = H.splitlines()
    text = "\n".join([head, *rows[:4], "Total,,,,1629", *rows[4:], "Total,,,,543"]) + "\n"
    hold(
        Trap(
            change={"hours": text},
            finds=("totals row @ 6", "totals row @ 11"),
            says=(
                "states 1,629 hours; the rows above it sum to 1,629, as they should",
                "states 543 hours; the rows since the total before it sum to 543, as they should",
            ),
            rows={"hours": {"used": 8, "totals row": 2}},
        ),
        tmp_path,
    )
