"""Units that are renamed, merged, opened and spelled in many ways; fiscal years, leap years, years of 27 periods.

The mess is common practice, no source. The numbers in front keep what belongs together in one place.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest

from spec.mess import H, I, T, Trap, and_file, hold

ALL = 450 + 455 + 360 + 364 + 90 + 91 + 180 + 182  # hours of the hand facility
CHANGE = "[[units.changes]]\non = 2025-04-01\nold = {old}\nnew = {new}\n"
UNITS = "unit,program_start,opened_on,closed_on,aliases\n"


def units(*rows: str) -> dict[str, str]:
    return {"units": UNITS + "".join(f"{row}\n" for row in rows)}


def later(text: str, old: str, new: str) -> str:
    """The table with a unit's name changed in rows of the second quarter."""
    return (
        "\n".join(
            line.replace(f",{old},", f",{new},") if any(f"2025-0{month}" in line for month in (4, 5, 6)) else line
            for line in text.splitlines()
        )
        + "\n"
    )


NAMES = {
    "43 47 case and blanks in a unit's name": Trap(
        {"incidents": I.replace("North", "NORTH").replace("South", " south\u00a0 ")},
        hours={"NORTH": 450 + 455 + 90 + 91, "South": 360 + 364 + 180 + 182},
        events={"NORTH recordable": 3, "South recordable": 2},
    ),
    "47 4W, 4 West and 4-WEST are one unit only if the program file says so": Trap(
        {"incidents": I.replace("-15,North", "-15,N. wing").replace("-20,North", "-20,North (closed)")},
        program='[units.aliases]\n"n. wing" = "North"\n"North (closed)" = "North"\n',
    ),
    "47 other spellings in the units file": Trap(
        {"incidents": I.replace("-15,North", "-15,N. wing")} | units("North,,,,N. wing|Unit 1", "South,,,,"),
        swap=and_file("units"),
    ),
    "47 nobody said so: no merge by likeness, no build": Trap(
        {"incidents": I.replace("-15,North", "-15,Nort")},
        finds=("unit without hours @ 2",),
        suggests=('[units.aliases]\n"Nort" = "?"',),
        rows={"incidents": {"used": 5, "unit without hours": 1}},
        events={"recordable": 4, "North recordable": 2},
    ),
    "68 a unit with hours that the units file does not list": Trap(
        units("North,,,,"),
        swap=and_file("units"),
        finds=("unit not listed @ 0",),
        says=("'South' has hours or cases and is not in the units file",),
    ),
    "137 a unit listed twice": Trap(
        units("North,,,,", "South,,,,", "North,2025-02-01,,,"),
        swap=and_file("units"),
        finds=("unit listed twice @ 4",),
        rows={"units": {"used": 3}},
        hours={"": ALL, "live:before North": 540 * 31 / 90},
    ),
}

CHANGES = {
    "64 a unit renamed at the quarter": Trap(
        {"hours": later(H, "North", "3 North"), "incidents": later(I, "North", "3 North")},
        program=CHANGE.format(old='["North"]', new='["3 North"]'),
        hours={"3 North": 450 + 455 + 90 + 91, "South": 360 + 364 + 180 + 182},
        events={"3 North recordable": 3, "South recordable": 2},
    ),
    "64 renamed, nobody said so: two units, each with its own cases": Trap(
        {"hours": later(H, "North", "3-N"), "incidents": later(I, "North", "3-N")},
        hours={"North": 540, "3-N": 546},
        events={"North recordable": 2, "3-N recordable": 1},
    ),
    "64 144 two units merged: one unit before the merger too": Trap(
        {
            "hours": later(later(H, "North", "East"), "South", "East"),
            "incidents": later(later(I, "North", "East"), "South", "East"),
        },
        program=CHANGE.format(old='["North", "South"]', new='["East"]'),
        hours={"East": ALL, "East 2025-Q1": 1080},
        events={"East recordable": 5, "East recordable 2025-Q1": 3},
    ),
    "64 144 one unit split: one unit after the split too": Trap(
        {"hours": later(H, "North", "N2").replace("009,N2", "009,N1"), "incidents": later(I, "North", "N1")},
        program=CHANGE.format(old='["North"]', new='["N1", "N2"]'),
        hours={"N1": 1086, "N2": 1086, "South": 1086},
        events={"N1 recordable": 3},
    ),
    "64 hours under the old name after the change: told": Trap(
        {"hours": H + "009,3 North,2025-04-01,2025-06-30,10\n"},
        program=CHANGE.format(old='["North"]', new='["3 North"]'),
        finds=("hours on the wrong side of a unit change @ 3",),
        rows={"hours": {"used": 9}},
        hours={"North": 1086 + 10},
        events={"North recordable": 3},
    ),
    "66 a unit that opened in February and one that closed in May": Trap(
        {
            "hours": H.replace("\n,South,2025-01-01", "\n,West,2025-02-03").replace(
                "009,North,2025-04-01,2025-06-30", "009,East,2025-04-01,2025-05-11"
            )
        }
        | units("North,,,,", "South,,,,", "West,,2025-02-03,2025-03-31,", "East,,2025-04-01,2025-05-11,"),
        swap=and_file("units"),
        hours={"West": 180, "East": 91},
    ),
    "66 56 a unit without hours for its first month": Trap(
        {"hours": H.replace("\n,South,2025-01-01", "\n,West,2025-02-03")}
        | units("North,,,,", "South,,,,", "West,,2025-01-01,2025-03-31,"),
        swap=and_file("units"),
        finds=("hours missing @ 0",),
        says=("West has no hours from 2025-01-01 to 2025-02-02 (33 days)",),
        hours={"West": 180},
        incomplete={"2025-Q1": "hours missing for 33 days in West"},
    ),
    "139 the go-live day belongs to after": Trap(
        units("North,2025-05-20,,,", "South,,,,"),
        swap=and_file("units"),
        hours={"live:before North 2025-Q2": (455 + 91) * 49 / 91, "live:after North": (455 + 91) * 42 / 91},
        events={"live:after North recordable": 1, "live:before North recordable": 2},
    ),
}


def periods(first: date, count: int) -> str:
    """Pay periods of 14 days, 80 hours each, of one person of North."""
    rows = ["employee_id,unit,period_start,period_end,hours"]
    for start in (first + timedelta(days=14 * place) for place in range(count)):
        rows.append(f"007,North,{start},{start + timedelta(days=13)},80")
    return "\n".join(rows) + "\n"


ONE_UNIT = {"incidents": I.replace("South", "North"), "training": T.replace("008", "007")}
WHOLE_YEAR = {
    "end = 2025-06-30": "end = 2025-12-31",
    "as_of = 2025-07-31": "as_of = 2026-01-31",
    "log_complete_through = 2025-06-30": "log_complete_through = 2025-12-31",
    "hours_complete_through = 2025-06-30": "hours_complete_through = 2025-12-31",
}
UNMATCHED = ("case without hours of its person @ 4",)
TOTALS = "year,deaths,days_away_cases,restricted_cases,other_cases,hours\n"

YEARS = {
    "53 141 a year in which 27 pay periods end: 26 of them and one day, not 27": Trap(
        ONE_UNIT | {"hours": periods(date(2024, 12, 19), 27)},
        swap=WHOLE_YEAR,
        finds=(*UNMATCHED, "the log may be old @ 0"),
        rows={"hours": {"used": 27}},
        hours={"": 26 * 80 + 80 / 14},
        events={"recordable": 5},
    ),
    "141 the leap day is a day: 29 days of 2 hours, 14 of them before March": Trap(
        ONE_UNIT
        | {
            "hours": "employee_id,unit,period_start,period_end,hours\n007,North,2024-02-16,2024-03-15,58\n"
            + "007,North,2024-03-16,2025-06-30,400\n"
        },
        swap={"start = 2025-01-01": "start = 2024-02-16"},
        program="",
        finds=UNMATCHED,
        rows={"hours": {"used": 2}},
        hours={"": 458},
        events={"recordable": 5},
        incomplete={"2024-Q1": "the review starts within this quarter"},
    ),
    "65 138 a fiscal year from July: the quarters are those of the facility": Trap(
        swap={"as_of = 2025-07-31": "as_of = 2025-07-31\nfiscal_year_start_month = 7"},
        hours={"FY2025-Q3": 1080, "FY2025-Q4": 1092},
        events={"recordable FY2025-Q3": 3, "recordable FY2025-Q4": 2},
    ),
    "65 a fiscal year from February: quarters from February, May, August": Trap(
        swap={"as_of = 2025-07-31": "as_of = 2025-07-31\nfiscal_year_start_month = 2"},
        hours={"FY2025-Q4": 1080 * 31 / 90, "FY2026-Q1": 1080 * 59 / 90 + 1092 * 30 / 91},
        events={"recordable FY2025-Q4": 1, "recordable FY2026-Q1": 2, "recordable FY2026-Q2": 2},
        incomplete={
            "FY2025-Q4": "the review starts within this quarter",
            "FY2026-Q2": "the review ends within this quarter",
        },
    ),
    "107 150 the posted summary agrees": Trap(
        {"hours": H.replace("2025-06-30", "2025-12-31"), "annual_totals": TOTALS + "2025,0,2,1,2,2172\n"},
        swap=WHOLE_YEAR | and_file("annual_totals"),
        finds=("the log may be old @ 0",),
        hours={"": ALL},
        events={"recordable": 5},
    ),
    "107 150 the posted summary has one other case and 100 hours more": Trap(
        {"hours": H.replace("2025-06-30", "2025-12-31"), "annual_totals": TOTALS + '2025,0,2,1,3,"2,272"\n'},
        swap=WHOLE_YEAR | and_file("annual_totals"),
        finds=("the log may be old @ 0", "posted summary differs @ 0", "posted summary differs @ 0"),
        says=(
            "2025: other cases posted 3, in the review 2 (-1)",
            "2025: hours posted 2,272, in the review 2,172 (-100)",
        ),
        hours={"": ALL},
        events={"recordable": 5},
    ),
}

YEARS["a year posted twice"] = Trap(
    {"hours": H.replace("2025-06-30", "2025-12-31"), "annual_totals": TOTALS + "2025,0,2,1,2,2172\n" * 2},
    swap=WHOLE_YEAR | and_file("annual_totals"),
    finds=("the log may be old @ 0", "year posted twice @ 3"),
    rows={"annual_totals": {"used": 2}},
    hours={"": ALL},
    events={"recordable": 5},
)
TABLES = (NAMES, CHANGES, YEARS)


@pytest.mark.parametrize("trap", [pytest.param(t, id=n) for table in TABLES for n, t in table.items()])
def test_units_and_periods(trap: Trap, tmp_path: Path) -> None:
    hold(trap, tmp_path)
