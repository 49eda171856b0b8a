"""Days in which somebody has two rows are found by a bit for each person; whether bits fit changes no finding."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from handling_review.program import read_program
from handling_review.review import measured
from handling_review.store import measure
from whole import facility

ROWS = """\
employee_id,unit,period_start,period_end,hours,pay_code
007,North,2025-01-01,2025-01-01,8,REG
007,North,2025-01-01,2025-01-01,8,REG
007,South,2025-01-02,2025-01-02,30,REG
008,South,2025-01-03,2025-01-03,14,REG
008,North,2025-01-03,2025-01-03,13,OT
009,North,2025-01-04,2025-01-04,8,REG
009,North,2025-01-04,2025-01-04,8,SICK
010,North,2025-01-05,2025-01-05,8,REG
,North,2025-01-05,2025-01-05,8,REG
,North,2025-01-05,2025-01-05,8,REG
007,North,2025-01-06,2025-06-30,450,REG
008,South,2025-01-06,2025-06-30,450,REG
"""
CODES = '[pay_codes]\nworked = ["REG", "OT"]\nnot_worked = ["SICK"]\n'


@pytest.mark.parametrize("most_bits", [0, measure.MOST_BITS])
def test_repeated_rows_and_days_too_long_are_found(
    tmp_path: Path, most_bits: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(measure, "MOST_BITS", most_bits)
    program = read_program(facility.write(tmp_path, program=facility.PROGRAM + CODES, hours=ROWS))
    found = {finding.rule: finding for finding in measured(program, date(2025, 7, 31), tmp_path).findings}
    assert (found["hours row repeated"].rows, found["hours row repeated"].line) == (1, 3)
    assert found["more hours than the days hold"].rows == 2
    assert found["more hours than the days hold"].line == 4
