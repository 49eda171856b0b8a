"""A made-up facility by hand for whose training is due: who still works here, on which unit, and until when.

The hours end on 30 June 2025; the 60 days up to it begin on 2 May. The exports were taken on 31 July 2025. Training
lapses after 12 months or on its day of expiry, whichever is first.
"""

from __future__ import annotations

from pathlib import Path

from whole import facility

PROGRAM = facility.PROGRAM.replace(
    'training = "training.csv"', 'training = "training.csv"\nunits = "units.csv"'
).replace("washout_days = 30", "washout_days = 30\nrefresher_months = 12\nminimum_match_share = 0.5")
UNITS = """\
unit,name,comparison
North,North,no
South,South,no
East,East,yes
"""
INCIDENTS = """\
case_number,employee_id,event_date,unit,outcome,days_away,days_restricted,activity
001,101,2025-06-15,North,days_away,4,0,reposition_in_bed
002,104,2025-06-20,South,other_recordable,0,0,lateral_transfer
003,111,2025-06-22,East,other_recordable,0,0,lateral_transfer
"""
HOURS = """\
employee_id,unit,period_start,period_end,hours
101,North,2025-06-01,2025-06-30,100
102,North,2025-06-01,2025-06-30,100
103,North,2025-06-01,2025-06-30,100
104,South,2025-06-01,2025-06-30,100
105,South,2025-06-01,2025-06-30,100
106,South,2025-06-01,2025-06-30,100
107,South,2025-04-01,2025-04-30,120
107,South,2025-05-02,2025-05-31,40
107,North,2025-06-01,2025-06-30,40
108,North,2025-05-01,2025-05-01,8
109,North,2025-05-02,2025-05-02,8
110,North,2025-04-03,2025-05-02,30
110,South,2025-06-10,2025-06-10,2
111,East,2025-06-01,2025-06-30,100
112,East,2025-06-01,2025-06-30,100
113,North,2025-06-01,2025-06-14,8
113,North,2025-06-01,2025-06-14,-8
114,North,2025-07-05,2025-07-18,80
116,South,2025-06-01,2025-06-30,100
117,South,2025-06-01,2025-06-30,100
118,North,2025-06-20,2025-07-19,30
118,South,2025-06-01,2025-06-01,12
,South,2025-01-01,2025-03-31,90
,South,2025-04-02,2025-05-01,30
,South,2025-05-01,2025-05-31,31
,North,2025-06-01,2025-06-30,30
"""
TRAINING = """\
employee_id,course,completed_on,status,expires_on
102,Safe handling,2024-06-01,completed,
103,Safe handling,2025-01-15,completed,2025-09-10
104,Safe handling,2023-01-10,completed,
104,Safe handling,2025-03-01,completed,
105,Safe handling,2024-07-31,completed,
106,Safe handling,2024-08-01,completed,
106,Safe handling,2023-05-05,completed,2026-12-31
108,Safe handling,2024-01-05,completed,
110,Safe handling,2024-11-30,completed,
111,Safe handling,2023-02-01,completed,
114,Safe handling,2023-02-01,completed,
116,Safe handling,2025-02-01,failed,
117,Fire drill,2025-02-01,completed,
"""
# id: unit, state, last completion, day on which training lapses; each worked out by hand
PEOPLE = {
    "101": ("North", "never_trained", "", ""),
    "102": ("North", "overdue", "2024-06-01", "2025-06-01"),  # 12 months
    "103": ("North", "due", "2025-01-15", "2025-09-10"),  # the day of expiry comes before the 12 months
    "104": ("South", "due", "2025-03-01", "2026-03-01"),  # the refresher renews
    "105": ("South", "overdue", "2024-07-31", "2025-07-31"),  # lapses on the day of the exports
    "106": ("South", "due", "2024-08-01", "2025-08-01"),  # the 12 months end before the late day of expiry
    "107": ("North", "never_trained", "", ""),  # 40 h each in the 60 days: the first by name; April does not count
    "109": ("North", "never_trained", "", ""),  # worked on the first of the 60 days
    "110": ("South", "due", "2024-11-30", "2025-11-30"),  # 2 h on South, on North 30 h x 1 of 30 days = 1 h
    "111": ("East", "comparison_unit", "2023-02-01", "2024-02-01"),
    "112": ("East", "comparison_unit", "", ""),
    "116": ("South", "never_trained", "", ""),  # failed
    "117": ("South", "never_trained", "", ""),  # not a course that qualifies
    "118": ("South", "never_trained", "", ""),  # 12 h on South, on North 30 h x 11 of 30 days = 11 h by 30 June
}  # gone: 108 (the day before the 60 days), 113 (hours taken back), 114 (only after the review)


def write(folder: Path, **changed: str | bytes) -> Path:
    """Write the facility into ``folder``; keywords replace the text of one file. Returns the program file."""
    texts: dict[str, str | bytes] = {
        "program": PROGRAM,
        "units": UNITS,
        "incidents": INCIDENTS,
        "hours": HOURS,
        "training": TRAINING,
    }
    return facility.write(folder, **{**texts, **changed})
