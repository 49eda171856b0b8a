"""A tiny made-up facility written by hand: 6 incidents, 8 hour rows, 3 completions. Tests change one thing."""

from __future__ import annotations

from pathlib import Path

PROGRAM = """\
[facility]
name = "Hand check"
[review]
start = 2025-01-01
end = 2025-06-30
as_of = 2025-07-31
log_complete_through = 2025-06-30
hours_complete_through = 2025-06-30
[files]
incidents = "incidents.csv"
hours = "hours.csv"
training = "training.csv"
[training]
qualifying_courses = ["Safe handling"]
washout_days = 30
"""
INCIDENTS = """\
case_number,employee_id,event_date,unit,outcome,days_away,days_restricted,activity
001,007,2025-01-15,North,days_away,4,0,reposition_in_bed
002,007,2025-03-20,North,other_recordable,0,0,lateral_transfer
003,008,2025-02-02,South,restricted_or_transfer,0,3,stand_pivot
004,,2025-05-05,South,other_recordable,0,0,not_handling
005,008,2025-05-20,North,days_away,2,0,toileting
006,007,2025-06-10,North,first_aid,0,0,bathing
"""
HOURS = """\
employee_id,unit,period_start,period_end,hours
007,North,2025-01-01,2025-03-31,450
007,North,2025-04-01,2025-06-30,455
008,South,2025-01-01,2025-03-31,360
008,South,2025-04-01,2025-06-30,364
009,North,2025-01-01,2025-03-31,90
009,North,2025-04-01,2025-06-30,91
,South,2025-01-01,2025-03-31,180
,South,2025-04-01,2025-06-30,182
"""
TRAINING = """\
employee_id,course,completed_on,status
007,Safe handling,2025-03-01,completed
008,Safe handling,2025-04-10,completed
008,Safe handling,2025-05-10,completed
"""


def write(folder: Path, **changed: str | bytes) -> Path:
    """Write the facility into ``folder``; keywords replace the text of one file. Returns the program file."""
    folder.mkdir(parents=True, exist_ok=True)
    texts: dict[str, str | bytes] = {
        "program.toml": PROGRAM,
        "incidents.csv": INCIDENTS,
        "hours.csv": HOURS,
        "training.csv": TRAINING,
    }
    texts |= {f"{name}.toml" if name == "program" else f"{name}.csv": text for name, text in changed.items()}
    for name, text in texts.items():
        (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return folder / "program.toml"
