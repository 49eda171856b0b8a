"""Hours as payroll systems export them: pay codes, corrections, periods, agencies. One change a line.

Only hours actually worked count (29 CFR 1904.32(b)(2) and the worksheet of Form 300A, both cited from memory). The mess
is common practice, no source. The numbers in front keep what belongs together in one place.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from spec.mess import H, I, Trap, hold, look, with_column

ALL = 450 + 455 + 360 + 364 + 90 + 91 + 180 + 182  # hours of the hand facility
CODES = '[pay_codes]\nworked = ["REG", "OT", "EDU", "ADJ"]\nnot_worked = ["PTO", "SICK", "HOL", "ONCALL", "DONATED"]\n'
PREMIUM = CODES + 'premium_only = ["OTP", "DIFF"]\n'
REG = with_column(H, "pay_code", "REG")
NORTH = "007,North,2025-01-01,2025-03-31"


def more(*rows: str) -> dict[str, str]:
    return {"hours": REG + "".join(f"{row}\n" for row in rows)}


PAY = {
    "48 paid time off, sick leave and holidays are not worked": Trap(
        more(f"{NORTH},40,PTO", f"{NORTH},16,sick", f"{NORTH},8,Hol"),
        program=CODES,
        rows={"hours": {"used": 8, "not worked": 3}},
    ),
    "48 on-call standby and 72 donated hours, if the facility says so": Trap(
        more(f"{NORTH},12,ONCALL", f"{NORTH},20,DONATED"),
        program=CODES,
        rows={"hours": {"used": 8, "not worked": 2}},
    ),
    "48 a pay code that nobody has explained: no build, and no guess": Trap(
        more(f"{NORTH},30,LACT"),
        program=CODES,
        finds=("unmapped pay code @ 10",),
        says=("'LACT'", "One row, 30.0 hours"),
        suggests=('[pay_codes]\n# "LACT" goes into worked, not_worked or premium_only',),
        rows={"hours": {"used": 8, "unmapped pay code": 1}},
    ),
    "48 no map at all: every code is asked for": Trap(
        more(f"{NORTH},30,PTO"),
        finds=("unmapped pay code @ 10", "unmapped pay code @ 2"),
        rows={"hours": {"used": 0, "unmapped pay code": 9}},
        hours={"": 0},
        incomplete={"2025-Q1": "no hours in the hours file", "2025-Q2": "no hours in the hours file"},
    ),
    "48 some rows without a code: they count, and it is said": Trap(
        more(f"{NORTH},30,"),
        program=CODES,
        finds=("blank pay code @ 10",),
        rows={"hours": {"used": 9}},
        hours={"": ALL + 30, "North 2025-Q1": 450 + 90 + 30},
    ),
    "49 the overtime premium repeats hours of the overtime row: 450 + 10, not + 20": Trap(
        more(f"{NORTH},10,OT", f"{NORTH},10,OTP"),
        program=PREMIUM,
        rows={"hours": {"used": 9, "premium only": 1}},
        hours={"": ALL + 10},
    ),
    "50 shift differential carries the hours again": Trap(
        more(f"{NORTH},450,DIFF"), program=PREMIUM, rows={"hours": {"used": 8, "premium only": 1}}
    ),
    "73 paid hours in class are worked hours": Trap(
        more(f"{NORTH},7.5,EDU"), program=CODES, rows={"hours": {"used": 9}}, hours={"": ALL + 7.5}
    ),
    "51 a correction in the same period: 450 - 8": Trap(
        more(f"{NORTH},-8,ADJ"), program=CODES, rows={"hours": {"used": 9}}, hours={"": ALL - 8, "North 2025-Q1": 532}
    ),
    "51 a reversal and the true figure: 450 - 450 + 445": Trap(
        more(f"{NORTH},-450,ADJ", f"{NORTH},445,ADJ"), program=CODES, rows={"hours": {"used": 10}}, hours={"": ALL - 5}
    ),
    "51 a correction that exceeds its hours waits with them: 450 - 460 = -10": Trap(
        more(f"{NORTH},-460,ADJ"),
        program=CODES,
        finds=("negative total @ 2",),
        says=("2 rows, -10.0 hours",),
        rows={"hours": {"used": 7, "negative total": 2}},
        hours={"": ALL - 450},
    ),
    "51 a correction with no hours to correct": Trap(
        more("008,North,2025-01-01,2025-03-31,-4,ADJ"),
        program=CODES,
        finds=("negative total @ 10",),
        rows={"hours": {"used": 8, "negative total": 1}},
    ),
    "77 a bonus run of 3,000 hours in one pay period": Trap(
        more(f"{NORTH},3000,REG"),
        program=CODES,
        finds=("more hours than the days hold @ 2", "very long weeks @ 0"),
        says=("3450.0000 h in 90 days",),
        rows={"hours": {"used": 9}},
        hours={"": ALL + 3000},
    ),
}

PERIODS = {
    "53 a period of 14 days over the quarter's end: 7 days each side": Trap(
        {"hours": H + ",South,2025-03-25,2025-04-07,140\n"},
        rows={"hours": {"used": 9}},
        hours={"South 2025-Q1": 360 + 180 + 140 * 7 / 14, "South 2025-Q2": 364 + 182 + 140 * 7 / 14},
    ),
    "53 a period over the day of training: 20 h over 10 days, 4 of them before": Trap(
        {"hours": H + "007,North,2025-02-25,2025-03-06,20\n"},
        finds=("periods overlap @ 10",),
        rows={"hours": {"used": 9}},
        hours={"before North": 295 + 20 * 4 / 10, "washout North": 150 + 20 * 6 / 10, "after North": 460},
    ),
    "a period of one day": Trap(
        {"hours": H + "007,North,2025-03-31,2025-03-31,8\n"},
        finds=("periods overlap @ 10",),
        rows={"hours": {"used": 9}},
        hours={"after North 2025-Q1": 5 + 8},
    ),
    "a period that ends before it starts": Trap(
        {"hours": H + ",South,2025-04-07,2025-03-25,140\n"},
        finds=("period reversed @ 10",),
        says=("One row, 140.0 hours",),
        rows={"hours": {"used": 8, "period reversed": 1}},
    ),
    "days worked in place of periods": Trap(
        {
            "hours": with_column(H, "work_date", "") + "010,North,,,8,2025-02-10\n,South,,,4,2025-06-30\n",
        },
        rows={"hours": {"used": 10}},
        hours={"never North 2025-Q1": 90 + 8, "unknown South 2025-Q2": 182 + 4},
    ),
    "neither a period nor a day": Trap(
        {"hours": with_column(H, "work_date", "") + "007,North,2025-02-10,,8,\n"},
        finds=("no date @ 10",),
        rows={"hours": {"used": 8, "no date": 1}},
    ),
    "54 the check date in place of the period: two weeks are missing at the start": Trap(
        {
            "hours": H.replace("2025-01-01", "2025-01-15")
            .replace("2025-03-31", "2025-04-14")
            .replace("2025-04-01", "2025-04-15")
            .replace("2025-06-30", "2025-07-14")
        },
        finds=("hours missing @ 0", "hours missing @ 0"),
        says=("North has no hours from 2025-01-01 to 2025-01-14 (14 days)",),
        hours={"never 2025-Q1": 90 * 76 / 90},
        incomplete={"2025-Q1": "hours missing in 2 units"},
    ),
    "55 one system twice a month, the next every two weeks: they overlap": Trap(
        {"hours": H + "009,North,2025-06-16,2025-07-06,21\n"},
        finds=("periods overlap @ 10",),
        says=("1 rows of one person, unit and pay code overlap", "21.0 hours"),
        rows={"hours": {"used": 9}},
        hours={"North 2025-Q2": 455 + 91 + 21 * 15 / 21},
    ),
    "56 a missing period is a gap, not few hours": Trap(
        {
            "hours": H.replace(",South,2025-04-01,2025-06-30,182", ",South,2025-05-01,2025-06-30,182").replace(
                "008,South,2025-04-01,2025-06-30,364", "008,South,2025-05-01,2025-06-30,364"
            )
        },
        finds=("hours missing @ 0",),
        says=("South has no hours from 2025-04-01 to 2025-04-30 (30 days); no rate is printed",),
        hours={"": ALL},
        incomplete={"2025-Q2": "hours missing for 30 days in South"},
    ),
    "56 a gap of six days is no missing weekly period": Trap(
        {
            "hours": H.replace("008,South,2025-04-01", "008,South,2025-04-07").replace(
                "\n,South,2025-04-01", "\n,South,2025-04-07"
            )
        },
        hours={"": ALL},
    ),
    "56 the last period is in no unit, although hours are said to be complete": Trap(
        {"hours": H.replace("2025-06-30", "2025-06-16")},
        finds=("hours missing @ 0", "hours missing @ 0"),
        says=("South has no hours from 2025-06-17 to 2025-06-30 (14 days)",),
        hours={"": ALL},
        incomplete={"2025-Q2": "hours missing in 2 units"},
    ),
    "57 a row that stands twice: told, and counted": Trap(
        {"hours": H + "009,North,2025-04-01,2025-06-30,91\n"},
        finds=("hours row repeated @ 10",),
        says=("1 rows repeat another row to the letter (91.0 hours). They are counted.",),
        rows={"hours": {"used": 9}},
        hours={"": ALL + 91},
    ),
    "58 147 the last period is not complete: its quarter has no rate": Trap(
        swap={"hours_complete_through = 2025-06-30": "hours_complete_through = 2025-06-14"},
        incomplete={"2025-Q2": "hours are complete only through 2025-06-14"},
    ),
    "58 147 the log is not complete either": Trap(
        swap={"log_complete_through = 2025-06-30": "log_complete_through = 2025-05-31"},
        incomplete={"2025-Q2": "the log is complete only through 2025-05-31"},
    ),
    "hours before and after the review are left out by rule": Trap(
        {"hours": H + "007,North,2024-12-01,2024-12-31,160\n007,North,2025-07-01,2025-07-31,160\n"},
        rows={"hours": {"used": 8, "outside the review period": 2}},
    ),
}

PEOPLE = {
    "59 148 estimated hours are counted and named": Trap(
        {"hours": with_column(H, "source", ["payroll"] * 7 + ["estimate"])},
        finds=("estimated hours @ 9",),
        says=("182 of 2,172 hours are estimates",),
    ),
    "60 injuries of agency staff without agency hours: the rate is too high, and it is told": Trap(
        {
            "hours": "".join(line for line in H.splitlines(True) if not line.startswith(",")),
            "incidents": with_column(I, "person_type", ["", "", "", "agency", "", ""]),
        },
        finds=("agency injuries without agency hours @ 5",),
        rows={"hours": {"used": 6}},
        hours={"": ALL - 180 - 182},
    ),
    "60 hours of an agency, by unit and without ids": Trap(
        {
            "hours": with_column(H, "source", "payroll") + ",North,2025-06-02,2025-06-08,36,agency\n",
            "incidents": with_column(I, "person_type", ["", "", "", "Traveler", "", ""]),
        },
        rows={"hours": {"used": 9}},
        hours={"unknown North 2025-Q2": 36, "": ALL + 36},
    ),
    "61 a float pool's hours, pooled with the unit where it works": Trap(
        {"hours": H + "007,Float pool,2025-04-01,2025-06-30,50\n"},
        program='[units.aliases]\n"Float pool" = "North"\n',
        rows={"hours": {"used": 9}},
        hours={"North 2025-Q2": 455 + 91 + 50},
    ),
    "62 63 one person in two units": Trap(
        {"hours": H + "007,South,2025-01-01,2025-03-31,50\n"},
        rows={"hours": {"used": 9}},
        hours={"South 2025-Q1": 360 + 180 + 50, "North 2025-Q1": 540, "South before": 360 + 36 + 50 * 59 / 90},
    ),
    "66 68 136 a unit with hours and no case": Trap(
        {"hours": H + "010,West,2025-01-01,2025-06-30,500\n"},
        rows={"hours": {"used": 9}},
        hours={"West": 500, "West never": 500},
        events={"West": 0, "recordable": 5},
    ),
    "67 68 136 a case in a unit without hours: no infinite rate, no build, nothing lost": Trap(
        {"incidents": I.replace("2025-06-10,North", "2025-06-10,West")},
        finds=("unit without hours @ 7",),
        says=("'West'", "so its rate would be infinite"),
        suggests=('[units.aliases]\n"West" = "?"',),
        rows={"incidents": {"used": 5, "unit without hours": 1}},
        events={"recordable": 5, "first_aid": 0},
    ),
    "69 more than 24 hours a day": Trap(
        {"hours": with_column(H, "work_date", "") + "010,North,,,16,2025-02-10\n010,South,,,9,2025-02-10\n"},
        finds=("more hours than the days hold @ 10",),
        says=("25.0000 h in 1 days",),
        rows={"hours": {"used": 10}},
        hours={"": ALL + 25},
    ),
    "69 a unit's total under one id: over 120 hours a week": Trap(
        {"hours": H.replace(",364", ",2000")},
        finds=("very long weeks @ 0",),
        hours={"": ALL - 364 + 2000},
    ),
    "74 hours of units without any id: all unknown, the facility's rate stands": Trap(
        {"hours": H.replace("007", "").replace("008", "").replace("009", "")},
        finds=("case without hours of its person @ 2", "training without hours @ 0"),
        hours={"unknown": ALL, "never": 0},
    ),
    "a role in the hours file is read and moves nothing": Trap({"hours": with_column(H, "role", "RN")}),
    "34 hours of ten million in one row": Trap(
        {"hours": H + "009,North,2025-01-01,2025-03-31,10000000\n"},
        finds=("hours: maximum @ 10",),
        rows={"hours": {"used": 8, "hours: maximum": 1}},
    ),
}

TABLES = (PAY, PERIODS, PEOPLE)


@pytest.mark.parametrize("trap", [pytest.param(t, id=n) for table in TABLES for n, t in table.items()])
def test_hours(trap: Trap, tmp_path: Path) -> None:
    hold(trap, tmp_path)


def months(*, twice: str = "") -> str:
    """Twelve people of North, 100 hours a month each over half a year; one month may be loaded twice."""
    ends = ("01-31", "02-28", "03-31", "04-30", "05-31", "06-30")
    rows = []
    for end in ends:
        month = [f"{100 + person},North,2025-{end[:2]}-01,2025-{end},100" for person in range(12)]
        rows += month * (2 if end[:2] == twice else 1)
    return "\n".join(["employee_id,unit,period_start,period_end,hours", *rows, *H.splitlines()[1:]]) + "\n"


def test_57_a_period_loaded_twice_counts_once(tmp_path: Path) -> None:
    once = look(Trap({"hours": months()}), tmp_path / "once")
    twice = look(Trap({"hours": months(twice="03")}), tmp_path / "twice")
    assert twice.rows["hours"] == {"used": 6 * 12 + 8, "period loaded twice": 12}
    assert [(f.rule, f.rows, f.hours) for f in twice.findings if f.rule == "period loaded twice"] == [
        ("period loaded twice", 12, 1200.0)
    ]
    assert twice.cells.equals(once.cells)


def test_69_a_year_of_40_hours_a_person_is_told(tmp_path: Path) -> None:
    """120 to 4,500 hours a person a year is the screen of a public analysis of annual summaries (from memory)."""
    hours = "employee_id,unit,period_start,period_end,hours\n"
    hours += "".join(f"{person},North,2024-07-01,2025-06-30,40\n" for person in (1, 2, 3)) + H.split("\n", 1)[1]
    period = {"start = 2025-01-01": "start = 2024-07-01"}
    seen = look(
        Trap({"hours": hours.replace("450", "0").replace("455", "0").replace("36", "1")}, swap=period), tmp_path
    )
    assert [f.rule for f in seen.findings if f.rule.startswith("hours a person")] == ["hours a person look wrong"]
