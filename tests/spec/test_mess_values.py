"""Cells as real exports write them: dates, numbers, ids, missing values. One change to the hand facility a line.

The mess is of the kind that payroll, safety and learning systems export (common practice, no source), save where a line
names its source. What must come out is written as the sum it is.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from spec.mess import H, I, T, Trap, hold, look, with_column

ALL = 450 + 455 + 360 + 364 + 90 + 91 + 180 + 182  # hours of the hand facility
DAYS = {"2025-01-01": "01/01", "2025-03-31": "03/31", "2025-04-01": "04/01", "2025-06-30": "06/30"}
SERIAL = {"2025-01-01": 45658, "2025-03-31": 45747, "2025-04-01": 45748, "2025-06-30": 45838}  # 45658 = 2025-01-01
MDY = '[dates]\nhours = "mdy"\n'


def us_dates(text: str, year: str) -> str:
    for iso, short in DAYS.items():
        text = text.replace(iso, f"{short}/{year}")
    return text


def serial_days(text: str, shift: int) -> str:
    for iso, number in SERIAL.items():
        text = text.replace(iso, str(number - shift))
    return text


DATES = {
    "25 month/day/year, undeclared: refused, with the line to paste": Trap(
        {"hours": us_dates(H, "2025")},
        refused=("None of the 8 rows can be used", "fit month/day/year only", 'hours = "mdy" under [dates]'),
    ),
    "25 month/day/year, declared": Trap({"hours": us_dates(H, "2025")}, program=MDY),
    "25 both orders in one column: the two rows wait, nothing is guessed": Trap(
        {"training": T.replace("2025-03-01", "13/03/2025").replace("2025-05-10", "03/13/2025")},
        finds=("completed_on: type @ 2",),
        says=("mixes month/day/year and day/month/year", "Export it again year-month-day"),
        rows={"training": {"used": 1, "completed_on: type": 2}},
        hours={"before": 36 + 360, "washout": 120, "never": ALL - 362 - 724},
    ),
    "25 dates that fit both orders: refused, both are offered": Trap(
        {
            "training": T.replace("2025-03-01", "03/01/2025")
            .replace("2025-04-10", "04/10/2025")
            .replace("05-10", "05-33")
        },
        finds=("completed_on: type @ 2",),
        says=("Both orders fit",),
        suggests=('[dates]\ntraining = "mdy"   # or "dmy"',),
        rows={"training": {"used": 0, "completed_on: type": 3}},
        refused=("None of the 3 rows can be used", "mdy"),
    ),
    "25 a month of 13 in the declared order": Trap(
        {"training": T.replace("2025-05-10", "13/05/2025")},
        program='[dates]\ntraining = "mdy"\n',
        finds=("completed_on: type @ 4",),
        rows={"training": {"used": 2, "completed_on: type": 1}},
    ),
    "26 two-digit years: read as 20xx, and said": Trap(
        {"hours": us_dates(H, "25")},
        program=MDY,
        finds=("two-digit year @ 2", "two-digit year @ 2"),
        says=("8 values are written with a year of two digits",),
    ),
    "27 spreadsheet day numbers, declared": Trap({"hours": serial_days(H, 0)}, program='[dates]\nhours = "serial"\n'),
    "27 spreadsheet day numbers of the 1904 system are 1,462 days lower": Trap(
        {"hours": serial_days(H, 1462)}, program='[dates]\nhours = "serial1904"\n'
    ),
    "27 a spreadsheet day number, undeclared": Trap(
        {"training": T.replace("2025-05-10", "45787")},
        finds=("completed_on: type @ 4",),
        says=('training = "serial" under [dates]',),
        rows={"training": {"used": 2, "completed_on: type": 1}},
    ),
    "28 midnight behind a date means the date": Trap({"incidents": I.replace("2025-01-15", "2025-01-15 00:00:00")}),
    "29 a night shift: the calendar day of the event counts, not the day the shift began": Trap(
        {"incidents": I.replace("2025-03-20", "2025-04-01 02:00")},
        events={"recordable 2025-Q1": 5 - 3, "recordable 2025-Q2": 3, "after recordable": 2},
    ),
    "30 96 a time zone: the day as written, and said": Trap(
        {
            "incidents": I.replace("2025-03-20", "2025-04-01T02:30:00Z"),
            "training": T.replace("-05-10", "-05-10T09:00+02:00"),
        },
        finds=("time zone @ 3", "time zone @ 4"),
        says=("the day is taken as it is written".capitalize(), "export local time"),
        events={"recordable 2025-Q1": 2, "recordable 2025-Q2": 3},
    ),
    "a date with words behind it is no date": Trap(
        {"incidents": I.replace("2025-06-10", "2025-06-10 or 11")},
        finds=("event_date: type @ 7",),
        rows={"incidents": {"used": 5, "event_date: type": 1}},
        events={"first_aid": 0, "recordable": 5},
    ),
    "32 a date after the export": Trap(
        {"incidents": I.replace("2025-06-10", "2052-06-10")},
        finds=("after the exports were taken @ 7",),
        rows={"incidents": {"used": 5, "after the exports were taken": 1}},
        events={"first_aid": 0, "recordable": 5},
    ),
    "32 1900-01-01 says that there is no date": Trap(
        {"incidents": I.replace("2025-06-10", "1900-01-01")},
        finds=("event_date: required @ 7",),
        rows={"incidents": {"used": 5, "event_date: required": 1}},
        events={"first_aid": 0, "recordable": 5},
    ),
    "32 9999-12-31 as the end of a period": Trap(
        {"hours": H.replace("009,North,2025-04-01,2025-06-30", "009,North,2025-04-01,9999-12-31")},
        finds=("no date @ 7",),
        says=("One row, 91.0 hours",),
        rows={"hours": {"used": 7, "no date": 1}},
        hours={"": ALL - 91, "never": 90},
    ),
    "32 31/12/9999 as the day training expires: it does not": Trap(
        {"training": with_column(T, "expires_on", ["9999-12-31", "", "9999-12-31"])}
    ),
    "34 English month names are plain in any order": Trap(
        {"training": T.replace("2025-03-01", "01-MAR-2025").replace("2025-04-10", '"Thursday, April 10, 2025"')}
    ),
    "34 a month name and a two-digit year": Trap(
        {"training": T.replace("2025-03-01", "1-Mar-25")}, finds=("two-digit year @ 2",)
    ),
    "34 a month name of another language waits": Trap(
        {"training": T.replace("2025-05-10", "10-Mai-2025")},
        finds=("completed_on: type @ 4",),
        rows={"training": {"used": 2, "completed_on: type": 1}},
    ),
}

NUMBERS = {
    "35 blank hours are not zero hours": Trap(
        {"hours": H.replace(",364", ",")},
        finds=("hours: required @ 5",),
        rows={"hours": {"used": 7, "hours: required": 1}},
        hours={"": ALL - 364},
    ),
    "35 zero hours are zero hours": Trap({"hours": H.replace(",364", ",0")}, hours={"": ALL - 364}),
    "35 N/A, unk, a dash and a typographic dash are no id": Trap(
        {
            "hours": H.replace("\n,South,2025-01", "\nN/A,South,2025-01").replace(
                "\n,South,2025-04", "\n–,South,2025-04"
            ),
            "incidents": I.replace("004,,", "004,unk,"),
        }
    ),
    "35 an id of 0 stands for none, if the program file says so": Trap(
        {"hours": H.replace("\n,South", "\n0,South")}, program='[codes.hours.employee_id]\n"0" = ""\n'
    ),
    "35 36 none is a kind of equipment, and no missing value there": Trap(
        {"incidents": with_column(I, "equipment_in_use", "none")}
    ),
    "36 yes and no in every spelling": Trap(
        {
            "incidents": with_column(
                I.replace("not_handling", "unknown"), "handling_related", ["Y", "TRUE", "1", "No", "x", "checked"]
            )
        }
    ),
    "36 neither yes nor no: the value is dropped, the case is not": Trap(
        {"incidents": with_column(I, "handling_related", ["maybe", "", "", "", "", ""])},
        finds=("handling_related: type @ 2",),
        says=("this is neither yes nor no.", "The value is not used; the row is."),
    ),
    "37 a negative number in parentheses": Trap(
        {"hours": H + "007,North,2025-01-01,2025-03-31,(8.00)\n"}, rows={"hours": {"used": 9}}, hours={"": ALL - 8}
    ),
    "37 a minus sign behind the number, as mainframes write": Trap(
        {"hours": H + "007,North,2025-01-01,2025-03-31,8.00-\n"}, rows={"hours": {"used": 9}}, hours={"": ALL - 8}
    ),
    "37 a typographic minus": Trap(
        {"hours": H + "007,North,2025-01-01,2025-03-31,−8\n"}, rows={"hours": {"used": 9}}, hours={"": ALL - 8}
    ),
    "37 currency and percent signs": Trap(
        {"incidents": with_column(with_column(I, "claim_cost", '"$1,200.50"'), "assist_share", "75 %")}
    ),
    "6 thousands separators inside quotes": Trap({"hours": H.replace(",450", ',"1,450.50"')}, hours={"": ALL + 1000.5}),
    "38 hours as a clock, undeclared": Trap(
        {"hours": H.replace(",364", ",364:00")},
        finds=("hours: type @ 5",),
        suggests=('[hours]\nwritten_as = "hh:mm"',),
        rows={"hours": {"used": 7, "hours: type": 1}},
        hours={"": ALL - 364},
    ),
    "38 hours as a clock, declared": Trap(
        {"hours": re.sub(r",([0-9]+)\n", r",\1:30\n", H)},
        program='[hours]\nwritten_as = "hh:mm"\n',
        hours={"": ALL + 8 * 0.5},
    ),
    "38 hours as minutes, declared": Trap(
        {"hours": re.sub(r",([0-9]+)\n", lambda found: f",{int(found[1]) * 60}\n", H)},
        program='[hours]\nwritten_as = "minutes"\n',
    ),
    "38 hours as parts of a day, declared: 18.75 days are 450 hours": Trap(
        {"hours": re.sub(r",([0-9]+)\n", lambda found: f",{int(found[1]) / 24!r}\n", H)},
        program='[hours]\nwritten_as = "days"\n',
    ),
    "38 hours as minutes, undeclared: the average of 38,000 h a person a year is told": Trap(
        {"hours": re.sub(r",([0-9]+)\n", lambda found: f",{int(found[1]) * 60}\n", H)},
        finds=("hours a person look wrong @ 0", "very long weeks @ 0", "more hours than the days hold @ 2"),
        says=("[hours] written_as",),
        hours={"": ALL * 60},
    ),
    "a number of 40 digits is no number": Trap(
        {"hours": H.replace(",91\n", "," + "9" * 40 + "\n")},
        finds=("hours: type @ 7",),
        rows={"hours": {"used": 7, "hours: type": 1}},
        hours={"": ALL - 91},
    ),
    "39 noise of floating-point arithmetic": Trap({"hours": H.replace(",364", ",363.9999999")}),
    "67 70 full-time equivalents, 0.5 of 2,000 h a year over 90 of 365 days; cases while the unit has no hours": Trap(
        {
            "hours": "unit,period_start,period_end,hours\n"
            "North,2025-01-01,2025-03-31,0.5\nSouth,2025-04-01,2025-06-30,2\n"
        },
        program='[hours]\nwritten_as = "fte"\n',
        finds=(
            "case without hours of its person @ 2",
            "training without hours @ 0",
            "hours missing @ 0",
            "hours missing @ 0",
        ),
        rows={"hours": {"used": 2}},
        hours={"North": round(0.5 * 2000 * 90 / 365, 4), "South": round(2 * 2000 * 91 / 365, 4)},
        events={"recordable": 5},
        incomplete={"2025-Q1": "hours missing for 58 days in South", "2025-Q2": "hours missing for 71 days in North"},
    ),
}

SEMICOLON = H.replace(",", ";")
COMMA = "[decimal_comma]\nhours = true\n"
DECIMAL_COMMA = {
    "5 decimal comma and points between thousands, declared": Trap(
        {"hours": SEMICOLON.replace(";450\n", ";1.450,25\n")}, program=COMMA, hours={"": ALL + 1000.25}
    ),
    "5 decimal comma, undeclared": Trap(
        {"hours": SEMICOLON.replace(";364\n", ";364,5\n")},
        finds=("hours: type @ 5",),
        suggests=("[decimal_comma]\nhours = true",),
        rows={"hours": {"used": 7, "hours: type": 1}},
        hours={"": ALL - 364},
    ),
    "5 1.450 in a file that may write decimals with a comma: no build until it is settled": Trap(
        {"hours": SEMICOLON.replace(";450\n", ";1.450\n")},
        finds=("point or comma @ 2",),
        says=("it can mean 1234 or 1.234",),
        suggests=("[decimal_comma]\nhours = false   # or true",),
        hours={"": ALL - 450 + 1.45},
    ),
    "5 1.450, settled as over a thousand": Trap(
        {"hours": SEMICOLON.replace(";450\n", ";1.450\n")}, program=COMMA, hours={"": ALL + 1000}
    ),
    "5 1.450, settled as under two": Trap(
        {"hours": SEMICOLON.replace(";450\n", ";1.450\n")},
        program="[decimal_comma]\nhours = false\n",
        hours={"": ALL - 450 + 1.45},
    ),
    "5 1.450 beside 360.5 is plain: one column writes one way": Trap(
        {"hours": SEMICOLON.replace(";450\n", ";1.450\n").replace(";360\n", ";360.5\n")},
        hours={"": ALL - 450 + 1.45 + 0.5},
    ),
    "5 a decimal point where a comma is declared: 450.5 is not 4505": Trap(
        {"hours": SEMICOLON.replace(";364\n", ";364.5\n")},
        program=COMMA,
        finds=("hours: type @ 5",),
        rows={"hours": {"used": 7, "hours: type": 1}},
        hours={"": ALL - 364},
    ),
}

IDS = {
    "40 an id in scientific notation was destroyed by a spreadsheet": Trap(
        {"training": T + "1.2E+05,Safe handling,2025-03-01,completed\n"},
        finds=("scientific id @ 5", "training without hours @ 0"),
        says=("Export again with this column as text",),
        rows={"training": {"used": 4}},
        hours={"unknown": 180 + 182 + 90 + 91},
    ),
    "40 1E5 may be a true id": Trap(
        {name: text.replace("007", "1E5") for name, text in (("hours", H), ("incidents", I), ("training", T))}
    ),
    "41 leading zeros lost in one system: told, with the width to pad to": Trap(
        {"training": T.replace("007", "7").replace("008", "8")},
        finds=("leading zeros differ between files @ 0", "training without hours @ 0"),
        suggests=("[ids]\nzero_pad = 3",),
        hours={"unknown": ALL},
    ),
    "41 leading zeros padded": Trap(
        {"training": T.replace("007", "7").replace("008", "8")}, program="[ids]\nzero_pad = 3\n"
    ),
    "42 an id with a system's prefix matches nobody": Trap(
        {"training": T.replace("007", "E007")},
        finds=("training without hours @ 0",),
        says=("1 of 2 people", "unknown, not untrained"),
        hours={"unknown": ALL - 724},
    ),
    "43 outer space and zero-width characters in ids": Trap(
        {"training": T.replace("007", " 007\u00a0").replace("008", "\u200b008")}
    ),
    "43 upper and lower case in ids: told, not guessed": Trap(
        {"hours": H.replace("007", "a7"), "incidents": I.replace("007", "a7"), "training": T.replace("007", "A7")},
        finds=("upper and lower case differ between files @ 0", "training without hours @ 0"),
        says=("1 ids match the hours files only if case is ignored",),
        hours={"unknown": ALL - 724},
    ),
    "44 the letter O for a zero matches nobody": Trap(
        {"training": T.replace("007", "O07")},
        finds=("training without hours @ 0",),
        hours={"unknown": ALL - 724},
    ),
    "23 typographic dashes in ids are dashes": Trap(
        {"hours": H.replace("007", "E-7"), "incidents": I.replace("007", "E‑7"), "training": T.replace("007", "E–7")}
    ),
    "45 89 a new number at rehire and a login in the learning system: a crosswalk in the program file": Trap(
        {"hours": H.replace("007,North,2025-04", "107,North,2025-04"), "training": T.replace("007", "jroe")},
        program='[codes.hours.employee_id]\n"107" = "007"\n[codes.training.employee_id]\n"JROE" = "007"\n',
    ),
    "41 45 a crosswalk and padding together": Trap(
        {"training": T.replace("007", "jroe").replace("008", "8")},
        program='[codes.training.employee_id]\n"jroe" = "7"\n[ids]\nzero_pad = 3\n',
    ),
    "89 no id of the training file has hours: everybody is unknown, nobody untrained": Trap(
        {"training": T.replace("007", "a@example.org").replace("008", "b@example.org")},
        finds=("training without hours @ 0",),
        says=("2 of 2 people",),
        hours={"unknown": ALL, "never": 0, "before": 0, "after": 0},
    ),
}


@pytest.mark.parametrize(
    "trap", [pytest.param(t, id=n) for table in (DATES, NUMBERS, DECIMAL_COMMA, IDS) for n, t in table.items()]
)
def test_a_value(trap: Trap, tmp_path: Path) -> None:
    hold(trap, tmp_path)


def test_46_a_name_that_should_not_be_there_is_not_kept(tmp_path: Path) -> None:
    seen = look(Trap({"incidents": with_column(I, "employee_name", "Roe Jane")}), tmp_path)
    assert [f.rule for f in seen.findings] == ["columns not read"]
    assert b"Roe" not in seen.database
