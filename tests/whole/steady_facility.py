"""A made-up facility with one steady rate in every unit, as three exports; one unit may change in the last quarters.

Hours are unit totals by month without ids, cases are Poisson with a known rate, on days drawn at random.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np

UNITS = ("Unit 1", "Unit 2", "Unit 3", "Unit 4", "Unit 5")
FIRST_YEAR, YEARS = 2022, 4
PROGRAM = """\
[facility]
name = "Steady made-up facility"
[review]
start = 2022-01-01
end = 2025-12-31
as_of = 2026-06-30
log_complete_through = 2025-12-31
hours_complete_through = 2025-12-31
[files]
incidents = "incidents.csv"
hours = "hours.csv"
training = "training.csv"
"""


def write(
    folder: Path,
    seed: int,
    *,
    changed: str = "",
    times: float = 1.0,
    last_quarters: int = 2,
    rate_per_200k: float = 24.0,
    hours_a_month: int = 20_000,
) -> Path:
    """Write the three files and the program file; the ``changed`` unit has ``times`` the rate in the last quarters."""
    folder.mkdir(parents=True, exist_ok=True)
    dice = np.random.default_rng(seed)
    hours, cases = ["unit,period_start,period_end,hours"], []
    first_changed = 12 * YEARS - 3 * last_quarters
    for unit in UNITS:
        for month in range(12 * YEARS):
            start = date(FIRST_YEAR + month // 12, month % 12 + 1, 1)
            end = date(start.year + start.month // 12, start.month % 12 + 1, 1) - timedelta(days=1)
            hours.append(f"{unit},{start},{end},{hours_a_month}")
            expected = rate_per_200k * hours_a_month / 200_000
            if unit == changed and month >= first_changed:
                expected *= times
            days = (end - start).days + 1
            cases += [(start + timedelta(days=int(dice.integers(days))), unit) for _ in range(dice.poisson(expected))]
    rows = [
        f"{number:04d},,{day},{unit},other_recordable,0,0,toileting"
        for number, (day, unit) in enumerate(sorted(cases), start=1)
    ]
    head = "case_number,employee_id,event_date,unit,outcome,days_away,days_restricted,activity"
    texts = {
        "incidents.csv": [head, *rows],
        "hours.csv": hours,
        "training.csv": ["employee_id,course,completed_on,status", "001,Safe handling,2022-01-01,completed"],
    }
    for name, lines in texts.items():
        (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "program.toml").write_text(PROGRAM, encoding="utf-8")
    return folder / "program.toml"
