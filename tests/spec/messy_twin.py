"""A messy twin of a made-up facility: the same hours, cases and training, exported as badly as exports get.

``write_twin`` takes the clean files and writes the twin's, with the program file that maps it. ``Twin.rows`` says how
the row accounting differs from the clean one's; ``messy_twin_traps.TRAPS`` lists what was planted. Nothing is drawn:
the same clean files give the same twin. All of it is common practice, no source.
"""

from __future__ import annotations

import shutil
from datetime import date, timedelta
from decimal import Decimal
from itertools import cycle
from pathlib import Path

from handling_review.simulate import Plan, Rates
from spec.messy_twin_base import UNIT_SPELLINGS, Row, Twin, lines, read_rows, yes_no
from spec.messy_twin_program import CODES, COLUMNS, FORMS, PROGRAM
from spec.messy_twin_surroundings import write_surroundings, write_totals, write_units

# eight quarters; rates so high that every outcome and every kind of case occurs
PLAN = Plan(mess=False, staff=120, end=date(2024, 12, 31), rates=Rates(48, 20, 30, 15, 10))
SPLIT = date(2024, 7, 1)  # the second extract starts a quarter before the first ends
OVERLAP_END = date(2024, 9, 30)
RENAMED = date(2024, 1, 1)
LOADED_TWICE = date(2024, 4, 13)  # last day of a pay period that stands twice in the register


def write_twin(clean: Path, folder: Path) -> Twin:
    """Write the twin of the clean facility in ``clean`` into ``folder``, which is made."""
    folder.mkdir(parents=True)
    twin = Twin(folder)
    _hours(twin, read_rows(clean / "hours.csv"))
    _incidents(twin, read_rows(clean / "incidents.csv"))
    _training(twin, read_rows(clean / "training.csv"))
    write_units(twin, read_rows(clean / "units.csv"))
    write_totals(twin, read_rows(clean / "annual_totals.csv"))
    write_surroundings(twin, clean)
    shutil.copy(clean / "reference_rates.csv", folder / "reference_rates.csv")
    (folder / "program.toml").write_text(PROGRAM + COLUMNS + FORMS + twin.codes + _money(clean), encoding="utf-8")
    return twin


def _money(clean: Path) -> str:
    """The money part of the clean program file, which is typed by hand in any case."""
    text = (clean / "program.toml").read_text(encoding="utf-8")
    return text[text.index("[money]") : text.index("[thresholds]")]


def _us(text: str) -> date:
    month, day, year = text.split("/")
    return date(int(year), int(month), int(day))


# --- hours -----------------------------------------------------------------------------------------------------------

NOBODY = ("", "n/a", "Agency", "–", "unk")  # how an id that there is none of is written
HOURS_HEADER = ["Cost Ctr", "Badge #", "From", "Thru", "Code", "Qty Hrs", "Job", "Src", "Note", "Note", ""]


def _unit(unit: str, last_day: date) -> str:
    if unit == "Elm Skilled" and last_day < RENAMED:
        return "Elm Sub-Acute"
    return UNIT_SPELLINGS.get(unit, unit)


def _comma(hours: Decimal) -> str:
    """1234.50 as 1.234,50."""
    return f"{hours:,.2f}".replace(",", "_").replace(".", ",").replace("_", ".")


def _hours_row(row: Row, number: int, *, second: bool) -> list[str]:
    start, end = _us(row["Period Start"]), _us(row["Period End"])
    hours = row["Hours"].replace(".", ",")
    if number % 997 == 5:
        hours = f"{Decimal(row['Hours']) - Decimal('0.0000004'):f}".replace(".", ",")  # noise of floating point
    shown = [f"{day.month}/{day.day}/{day.year}" for day in (start, end)]
    if second:
        shown = [f"{day:%m/%d/%y}" if number % 2 else f"{day:%d-%b-%Y}" for day in (start, end)]
    code = row["Pay Code"].lower() if number % 3 == 0 else row["Pay Code"]
    person = row["Emp ID"] or NOBODY[number % len(NOBODY)]
    person = person.lstrip("0") if second else person
    note = "line 1\nline 2; with a semicolon" if number % 500 == 0 else ""
    unit = _unit(row["Cost Center"], end)
    if unit == "Therapy" and not second:
        unit = "Ther\u200bapy"  # a zero-width space
    return [unit, person, *shown, code, hours, row["Role"], row["Source"], note, "", ""]


def _hours(twin: Twin, rows: list[Row]) -> None:
    first = [row for row in rows if _us(row["Period End"]) <= OVERLAP_END]
    second = [row for row in rows if _us(row["Period End"]) >= SPLIT]
    body: list[list[str]] = []
    of_all = since_last = Decimal(0)
    subtotals = 0
    for number, row in enumerate(first):
        body.append(_hours_row(row, number, second=False))
        of_all, since_last = of_all + Decimal(row["Hours"]), since_last + Decimal(row["Hours"])
        if number % 2000 == 1999:
            body += [["Subtotal", *[""] * 4, _comma(since_last), *[""] * 5], HOURS_HEADER]
            since_last, subtotals = Decimal(0), subtotals + 1
    early = [row for row in first if row["Pay Code"] == "REG" and row["Emp ID"] and _us(row["Period End"]).year == 2023]
    extra = _hours_extras(twin, early)
    of_all += sum((amount for _, amount in extra), Decimal(0))
    body += [row for row, _ in extra]
    again = [(row, number) for number, row in enumerate(first) if _us(row["Period End"]) == LOADED_TWICE]
    body += [_hours_row(row, number, second=False) for row, number in again]
    of_all += sum((Decimal(row["Hours"]) for row, _ in again), Decimal(0))
    body += [
        ["", "TEST", "1/1/2024", "1/14/2024", "REG", "80,00", *[""] * 5],
        [""] * 11,
        ["", "Grand Total", "", "", "", _comma(of_all), *[""] * 5],
        ["Page 1 of 1", *[""] * 10],
        ["End of report"],  # fewer cells than the header
    ]
    title = "Payroll register\r\nPrinted 07/20/2026\r\n\r\n"
    twin.write("hours_1", "\ufeff" + title + lines([HOURS_HEADER, *body], "\t", "\r\n"), "utf-16-le")
    for rule, count in (
        ("totals row", subtotals + 1), ("repeated header", subtotals), ("test row", 1), ("blank line", 1),
        ("footer line", 2), ("period loaded twice", len(again)),
    ):  # fmt: skip
        twin.plant("hours", rule, count)
    order = [1, 0, 3, 2, 5, 4, 7, 6, 8, 9, 10]
    listed = [HOURS_HEADER, *(_hours_row(row, number, second=True) for number, row in enumerate(second))]
    shuffled = [[row[place] for place in order] for row in listed]
    shuffled[0] = [name.upper().replace(" ", "_") for name in shuffled[0]]
    for name in ("hours_2", "hours_2_copy"):
        twin.write(name, lines(shuffled, ";", "\n", quote=True), "cp1252")
    shared = sum(SPLIT <= _us(row["Period End"]) <= OVERLAP_END for row in rows)
    twin.plant("hours", "already in another file", shared)
    twin.plant("hours", "same file given twice", len(second))


def _hours_extras(twin: Twin, rows: list[Row]) -> list[tuple[list[str], Decimal]]:
    """Rows that must change nothing: corrections taken back, premiums, time not worked, rows without days or hours."""
    found: list[tuple[list[str], Decimal]] = []

    def add(row: Row, code: str, text: str, amount: str, **changed: str) -> None:
        cells = _hours_row({**row, "Pay Code": code}, 1, second=False)
        cells[5] = text
        for name, value in changed.items():
            cells[{"unit": 0, "start": 2, "end": 3}[name]] = value
        found.append((cells, Decimal(amount)))

    for row, minus in zip(rows[::40][:12], cycle(["(8,00)", "8,00-", "−8,00", "-8"]), strict=False):
        add(row, "ADJ", "8,00", "8")
        add(row, "ADJ", minus, "-8")
    twin.plant("hours", "used", len(found))
    premiums = rows[7::50][:10]
    for row in premiums:
        add(row, "DIFF", row["Hours"].replace(".", ","), row["Hours"])
    twin.plant("hours", "premium only", len(premiums))
    for row, code in zip(rows[9::60], ("ONCALL", "HOL", "JURY", "CASHOUT", "DONATED"), strict=False):
        add(row, code, "12,00", "12")
    twin.plant("hours", "not worked", 5)
    add(rows[3], "REG", "", "0")
    twin.plant("hours", "hours: required", 1)
    add(rows[4], "REG", "4,00", "4", unit="")
    twin.plant("hours", "unit: required", 1)
    add(rows[5], "REG", "6,00", "6", end="12/31/9999")
    twin.plant("hours", "no date", 1)
    add(rows[6], "REG", "7,00", "7", start="3/1/2024", end="2/1/2024")
    twin.plant("hours", "period reversed", 1)
    add(rows[7], "REG", "80,00", "80", start="1/1/2022", end="1/14/2022")
    twin.plant("hours", "outside the review period", 1)
    add(rows[8], "ADJ", "-500,00", "-500", start="7/1/2023", end="7/1/2023")
    twin.plant("hours", "negative total", 1)
    add(rows[10], "REG", "13/32", "0")
    twin.plant("hours", "hours: type", 1)
    return found


# --- incidents -------------------------------------------------------------------------------------------------------

LOG_HEADER = [
    "Case No.", "Emp. No.", "Employee name", "Date of injury", "Clock", "Reported", "Where it happened", "Home unit",
    "Job title", "(G) Death", "(H) Days away", "(I) Transfer", "(J) Other", "Not recordable", "(K)", "(L)", "Type (M)",
    "Cause", "Task", "Handling?", "Source person", "Body part", "Injury", "Device", "Helpers", "Effort", "Weight",
    "Privacy", "Paid", "Paid as of", "Who", "Line", "Rev", "Describe what happened",
]  # fmt: skip
BOXES = ("death", "days_away", "restricted_or_transfer", "other_recordable")
WHO_AND_LINE = (("Staff", "Open"), ("employee", "Closed"), ("", "Claim denied"))
CAUSES = {"overexertion": "Strain", "slip_trip_fall": "Slip/Trip/Fall", "violence": "Assault"}


def _log_date(text: str, number: int) -> str:
    if not text:
        return ("", "-", "n/a")[number % 3]
    day = date.fromisoformat(text)
    numbers = (f"{day:%d.%m.%Y}", f"{day.day}/{day.month}/{day.year}")
    return (*numbers, f"{day:%d-%b-%Y}", f"{day} 00:00:00", f"{day}T23:10:00Z")[number % 5]


def _case(row: Row, number: int) -> list[str]:
    boxes = ["X" if row["outcome"] == name else "" for name in BOXES]
    if row["outcome"] == "days_away" and number % 9 == 0:
        boxes[3] = "x"  # the less serious box ticked too
    words = {"first_aid": "First aid only", "near_miss": "Near miss"}.get(row["outcome"], "")
    person = row["employee_id"]
    person = f" {person}\u00a0" if person else ("Privacy case", "—", "unk", "")[number % 4]
    handling, source, privacy = (
        yes_no(row[name], number) for name in ("handling_related", "source_person", "privacy_case")
    )
    cost = f"${Decimal(row['claim_cost']):,.2f}" if row["claim_cost"] else ""
    return [
        row["case_number"], person, "Surname, Given", _log_date(row["event_date"], number),
        _clock(row["event_time"], number),
        _log_date(row["reported_date"], number + 1), _unit(row["unit"], date.fromisoformat(row["event_date"])), "Pool",
        "Nurse\u2019s " + row["job_title"], *boxes, words, row["days_away"], row["days_restricted"],
        row["case_type"].replace("_", " ").title(), CAUSES.get(row["event_type"], row["event_type"]),
        row["activity"].replace("_", " ").upper(), handling, source,
        row["body_part"] + "; other", row["nature"], row["equipment_in_use"].replace("_", "-"), row["helpers"],
        row["assist_share"] and row["assist_share"] + " %", row["client_weight_lb"], privacy,
        cost, _log_date(row["cost_as_of"], 0), *WHO_AND_LINE[number % 3], "",
        'Said "ouch",\r\nroom 12' if number % 4 == 0 else "",
    ]  # fmt: skip


def _clock(text: str, number: int) -> str:
    """The time as others write it: 2:05 PM, 1405, 14:05:00."""
    if not text:
        return ""
    hour, minute = int(text[:2]), text[3:]
    shapes = (f"{hour % 12 or 12}:{minute} {'AM' if hour < 12 else 'PM'}", f"{hour:02d}{minute}", f"{text}:00")
    return shapes[number % 3]


NAMES = {"no": "Case No.", "day": "Date of injury", "unit": "Where it happened", "who": "Who", "line": "Line"}


def _like(cells: list[str], **changed: str) -> list[str]:
    """A case like another, with some cells changed."""
    copy = list(cells)
    for name, value in changed.items():
        copy[LOG_HEADER.index(NAMES[name])] = value
    return copy


def _incidents(twin: Twin, rows: list[Row]) -> None:
    cases = [_case(row, number) for number, row in enumerate(rows)]
    days = [date.fromisoformat(row["event_date"]) for row in rows]
    first = [cells for cells, day in zip(cases, days, strict=True) if day <= OVERLAP_END]
    second = [cells for cells, day in zip(cases, days, strict=True) if day >= SPLIT]
    place = {name: number for number, name in enumerate(LOG_HEADER)}
    amended = [cells for row, cells in zip(rows, cases, strict=True) if row["outcome"] == "restricted_or_transfer"][:3]
    older = [list(cells) for cells in amended]
    for cells, copy in zip(amended, older, strict=True):
        cells[place["Rev"]], copy[place["Rev"]] = "2", "1"
        copy[place["(I) Transfer"]], copy[place["(J) Other"]] = "", "x"
    model = list(next(cells for row, cells in zip(rows, cases, strict=True) if row["outcome"] == "other_recordable"))
    no_days = [cells for cells in first if cells[place["(K)"]] == "0" and cells[place["(L)"]] == "0"]
    no_days[0][place["(K)"]], no_days[1][place["(K)"]] = (
        "180+",
        "ongoing",
    )  # side column: the cell is dropped, not the row
    others = ("Resident", "visitor", "Volunteer", "Contractor", "Student")
    strangers = [_like(model, no=f"V{who}", who=who) for who in others]
    struck = [_like(model, no=f"S{line}", line=line) for line in ("Lined out", "VOID", "replaced")]
    wrong = [
        _like(model, no="W1", day="31.02.2024"),
        _like(model, no="W2", day="01.12.2027"),
        _like(model, no="W3", unit=""),
        _like(model, no="W4", day="02.01.2022"),
        _like(model, no="W5"),
        [*_like(model, no="W6"), "and then, with a comma too many"],
    ]
    wrong[4][place["(J) Other"]] = ""
    tail = [_like(model, no="TEST 1"), ["Total", *[""] * 32], ["Confidential", *[""] * 32], ["Generated on 2026-07-20"]]
    body = [*first[:50], LOG_HEADER, *older, *first[50:], *strangers, *struck, *wrong, *tail]
    title = "Log of work-related injuries\r\n\r\n"
    twin.write("log_1", title + lines([LOG_HEADER, *body], ",", "\r\n"), "cp1252")
    mixed = [lines([cells], "|", ("\n", "\r\n")[number % 2]) for number, cells in enumerate([LOG_HEADER, *second])]
    twin.write("log_2", "".join(mixed), "utf-8-sig")
    for rule, count in (
        ("older version", 3), ("not staff", 5), ("struck out", 3), ("event_date: type", 1),
        ("after the exports were taken", 1), ("unit: required", 1), ("outside the review period", 1),
        ("no outcome", 1), ("row: cells", 1), ("test row", 1), ("totals row", 1), ("footer line", 2),
        ("repeated header", 1), ("already in another file", sum(SPLIT <= day <= OVERLAP_END for day in days)),
    ):  # fmt: skip
        twin.plant("incidents", rule, count)


# --- training --------------------------------------------------------------------------------------------------------

ROSTER_HEADER = ["Login", "Learner", "Course title", "Done", "Result", "Valid until", "Type", "Signed off", "Due"]
RESULTS = {"completed": "Complete", "passed": "Pass", "failed": "FAIL", "enrolled": "In progress", "waived": "Exempt"}
LOGINS = {"jroe": 40, "mdoe": 80, "kpoe": 120}  # login: row of the roster whose person it is
COURSES = ("Curriculum: handling", "Peer leader day", "=1+1", "<b>Lifts</b> & slings")  # none of them counts
LATEST = 60  # rows that the second extract repeats


def _completion(row: Row, number: int, logins: dict[str, str]) -> list[str]:
    day = date.fromisoformat(row["completed_on"])
    words = (f"{day:%d-%b-%Y}", f"{day:%B} {day.day}, {day.year}", f"{day}T09:00:00+02:00")
    result = "88" if row["status"] == "passed" and number % 3 == 0 else RESULTS[row["status"]]
    course = row["course"]
    if course == "Safe handling, hands-on day" and number % 2:
        course += f" ({day.year} edition)"
    person = logins.get(row["employee_id"], row["employee_id"].lstrip("0"))
    return [
        person, "Surname, Given", course, (f"{day}", f"{day:%Y%m%d}", *words)[number % 5], result,
        row["expires_on"] or "9999-12-31", row["kind"].replace("_", "-").upper(), yes_no(row["competency"], number),
        "2030-01-01",
    ]  # fmt: skip


def _training(twin: Twin, rows: list[Row]) -> None:
    logins = {rows[place]["employee_id"]: login for login, place in LOGINS.items()}
    twin.codes = CODES.format(logins="\n".join(f'"{login}" = "{person}"' for person, login in logins.items()))
    body = [_completion(row, number, logins) for number, row in enumerate(rows)]
    extra = _roster_extras(twin, rows, body, logins)
    extra += [ROSTER_HEADER, ["Test user", "", "Safe handling", "2024-01-01", "Pass", "", "", "", ""], [""] * 9]
    extra.append(["25 records", *[""] * 8])
    for rule in ("repeated header", "test row", "blank line", "footer line"):
        twin.plant("training", rule, 1)
    twin.write("roster_1", lines([ROSTER_HEADER, *body, *extra], "|", "\r"), "utf-8")
    latest = lines([ROSTER_HEADER, *body[-LATEST:]], ";", "\n")
    twin.write("roster_2", "\ufeff" + latest, "utf-16-be")
    twin.plant("training", "already in another file", LATEST)


def _roster_extras(twin: Twin, rows: list[Row], body: list[list[str]], logins: dict[str, str]) -> list[list[str]]:
    """Rows that must not move anybody's training: copies, retakes, strangers, failures, other courses, bad dates."""
    hands_on = [row for row in rows if row["course"].endswith("hands-on day") and row["status"] == "passed"]
    one = hands_on[-1]

    def like(row: Row, number: int = 0, **changed: str) -> list[str]:
        return _completion({**row, **changed}, number, logins)

    extra = [list(body[place]) for place, row in enumerate(rows) if row in hands_on[3:5]]  # exported twice
    for row in hands_on[:3]:  # a retake: the first pass counts, and the day it is due again stays as it was
        first = date.fromisoformat(row["completed_on"])
        retake, due = str(first + timedelta(days=9)), str(first + timedelta(days=180))
        extra.append(like(row, completed_on=retake, expires_on=due))
    extra.append(like(one, employee_id="999123"))  # nobody's id
    twin.plant("training", "used", 2 + 3 + 1)
    extra += [like(one, 1, status=status, completed_on="2023-02-01") for status in ("failed", "enrolled", "waived")]
    twin.plant("training", "not a qualifying status", 3)
    extra += [like(one, course=course) for course in COURSES]
    twin.plant("training", "not a qualifying course", len(COURSES))
    extra.append(like(one, completed_on="2027-02-01"))
    twin.plant("training", "completed in the future", 1)
    extra.append(like(one, expires_on="2022-01-01"))
    twin.plant("training", "expires before it is completed", 1)
    for number, rule in ((0, "employee_id: required"), (3, "completed_on: required")):
        broken = like(one)
        broken[number] = ""
        extra.append(broken)
        twin.plant("training", rule, 1)
    return extra
