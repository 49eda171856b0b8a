"""Overlapping extracts that spell the same row otherwise: nothing counts twice, and no correction is lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from spec.mess import H, I, Trap, files_list, hold, with_column

HOURS = H.replace("North", "4-West")  # the second extract calls the unit by its other name
CODED = with_column(H, "pay_code", ["REG", "REG", "OT", "REG", "REG", "REG", "AGY", "AGY"])
CODES = '[pay_codes]\nworked = ["REG", "OT", "AGY"]\n'
LOG = """\
case_number,employee_id,event_date,unit,tick_days_away,tick_restricted,tick_other,outcome,days_away,days_restricted,activity
001,007,2025-01-15,North,x,,,,4,0,reposition_in_bed
002,007,2025-03-20,North,,,x,,0,0,lateral_transfer
003,008,2025-02-02,South,,x,,,0,3,stand_pivot
004,,2025-05-05,South,,,x,,0,0,not_handling
005,008,2025-05-20,North,x,,,,2,0,toileting
006,007,2025-06-10,North,,,,first_aid,0,0,bathing
"""

OVERLAPS = {
    "a unit by two names": Trap(
        {"second": HOURS},
        program='[units.aliases]\n"4-West" = "North"\n',
        swap=files_list("hours", "hours", "second"),
        rows={"hours": {"used": 8, "already in another file": 8}},
    ),
    "pay codes in capitals and not": Trap(
        {"hours": CODED, "second": CODED.replace("REG", "reg").replace("OT", "Ot")},
        program=CODES,
        swap=files_list("hours", "hours", "second"),
        rows={"hours": {"used": 8, "already in another file": 8}},
    ),
    "payroll named and not named as the source": Trap(
        {"second": with_column(H, "source", "payroll")},
        swap=files_list("hours", "hours", "second"),
        rows={"hours": {"used": 8, "already in another file": 8}},
    ),
    "a pay code in capitals and not, with other hours: told, both are counted": Trap(
        {"hours": CODED, "second": CODED.splitlines()[0] + "\n007,North,2025-01-01,2025-03-31,440,reg\n"},
        program=CODES,
        swap=files_list("hours", "hours", "second"),
        finds=("other hours in an earlier file @ 2",),
        rows={"hours": {"used": 9}},
        hours={"": 450 + 455 + 360 + 364 + 90 + 91 + 180 + 182 + 440},
    ),
    "a unit by two names in the log": Trap(
        {"second": I.replace("North", "4-West")},
        program='[units.aliases]\n"4-West" = "North"\n',
        swap=files_list("incidents", "incidents", "second"),
        rows={"incidents": {"used": 6, "already in another file": 6}},
    ),
    "a log of boxes, the same boxes with another mark": Trap(
        {"incidents": LOG, "second": LOG.replace(",x", ",yes")},
        swap=files_list("incidents", "incidents", "second"),
        rows={"incidents": {"used": 6, "already in another file": 6}},
    ),
    "a log of boxes, one box ticked otherwise: told, both are counted": Trap(
        {
            "incidents": LOG,
            "second": LOG.replace("003,008,2025-02-02,South,,x,,,0,3", "003,008,2025-02-02,South,x,,,,1,3"),
        },
        swap=files_list("incidents", "incidents", "second"),
        finds=("case number repeated @ 4", "may be the same case twice @ 4"),
        rows={"incidents": {"used": 7, "already in another file": 5}},
        events={"recordable": 5 + 1},
    ),
}


@pytest.mark.parametrize("name", OVERLAPS)
def test_rows_of_overlapping_extracts_count_once(name: str, tmp_path: Path) -> None:
    hold(OVERLAPS[name], tmp_path)
