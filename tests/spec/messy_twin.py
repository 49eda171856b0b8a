"""A messy twin of the made-up sample facility: the same hours, cases and training, exported as badly as exports get.

``write_twin`` takes the clean files and writes the twin's, with the program file that maps it. ``Twin.rows`` says how
the row accounting differs from the clean one's, ``Twin.traps`` what was planted. All of it is common practice,
no source.
"""

from __future__ import annotations

import csv
import io
import shutil
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from itertools import cycle
from pathlib import Path

SPLIT = date(2025, 1, 1)  # the second extract starts a quarter before the first ends
OVERLAP_END = date(2025, 3, 31)
RENAMED = date(2024, 1, 1)
Row = dict[str, str]


@dataclass
class Twin:
    """``rows``: by file, rows more under each rule than in the clean files. ``traps``: numbers planted."""

    folder: Path
    rows: dict[str, Counter[str]] = field(default_factory=dict)
    traps: set[int] = field(default_factory=set)
    codes: str = ""

    def plant(self, file: str, rule: str, rows: int, *traps: int) -> None:
        self.rows.setdefault(file, Counter())[rule] += rows
        self.traps.update(traps)


def write_twin(clean: Path, folder: Path) -> Twin:
    """Write the twin of the clean facility in ``clean`` into ``folder``, which is made."""
    folder.mkdir(parents=True)
    twin = Twin(folder)
    _hours(twin, _read(clean / "hours.csv"))
    _incidents(twin, _read(clean / "incidents.csv"))
    _training(twin, _read(clean / "training.csv"))
    _units(twin, _read(clean / "units.csv"))
    _totals(twin, _read(clean / "annual_totals.csv"))
    for name in ("equipment", "observations", "exposure", "events", "reference_rates"):
        shutil.copy(clean / f"{name}.csv", folder / f"{name}.csv")
    (folder / "program.toml").write_text(PROGRAM + COLUMNS + FORMS + twin.codes, encoding="utf-8")
    return twin


def _read(path: Path) -> list[Row]:
    return list(
        csv.DictReader(io.StringIO(path.read_bytes().decode("cp1252" if path.stem == "incidents" else "utf-8")))
    )


def _us(text: str) -> date:
    month, day, year = text.split("/")
    return date(int(year), int(month), int(day))


def _lines(rows: list[list[str]], delimiter: str, end: str, *, quote: bool = False) -> str:
    out = io.StringIO()
    csv.writer(
        out, delimiter=delimiter, lineterminator=end, quoting=csv.QUOTE_ALL if quote else csv.QUOTE_MINIMAL
    ).writerows(rows)
    return out.getvalue()


# --- hours -----------------------------------------------------------------------------------------------------------

NOBODY = cycle(["", "n/a", "Agency", "–", "unk"])
UNIT_SPELLINGS = {"Alder House": "AH-1 (old)", "Birch House": "BIRCH  house", "Fir Terrace": " Fir\u00a0Terrace "}
HOURS_HEADER = ["Cost Ctr", "Badge #", "From", "Thru", "Code", "Qty Hrs", "Job", "Src", "Batch note", ""]


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
    person = row["Emp ID"] or next(NOBODY)
    person = person.lstrip("0") if second else person
    note = "line 1\nline 2; with a semicolon" if number % 500 == 0 else ""
    return [_unit(row["Cost Center"], end), person, *shown, code, hours, row["Role"], row["Source"], note, ""]


def _hours(twin: Twin, rows: list[Row]) -> None:
    first = [row for row in rows if _us(row["Period End"]) <= OVERLAP_END]
    second = [row for row in rows if _us(row["Period End"]) >= SPLIT]
    body: list[list[str]] = []
    of_all = since_last = Decimal(0)
    subtotals = 0
    for number, row in enumerate(first):
        body.append(_hours_row(row, number, second=False))
        of_all, since_last = of_all + Decimal(row["Hours"]), since_last + Decimal(row["Hours"])
        if number % 4000 == 3999:
            body += [["Subtotal", "", "", "", "", _comma(since_last), "", "", "", ""], HOURS_HEADER]
            since_last, subtotals = Decimal(0), subtotals + 1
    early = [row for row in first if row["Pay Code"] == "REG" and row["Emp ID"] and _us(row["Period End"]).year == 2023]
    extra = _hours_extras(twin, early)
    of_all += sum((amount for _, amount in extra), Decimal(0))
    body += [row for row, _ in extra]
    body += [
        ["", "TEST", "1/1/2024", "1/14/2024", "REG", "80,00", "", "", "", ""],
        [""] * 10,
        ["", "Grand Total", "", "", "", _comma(of_all), "", "", "", ""],
        ["Page 1 of 1", *[""] * 9],
        ["End of report", *[""] * 9],
    ]
    title = "Payroll register\r\nPrinted 07/20/2026\r\n\r\n"
    text = title + _lines([HOURS_HEADER, *body], "\t", "\r\n")
    (twin.folder / "hours_1.csv").write_bytes(b"\xff\xfe" + text.encode("utf-16-le"))
    twin.plant("hours", "totals row", subtotals + 1, 9, 6)
    twin.plant("hours", "repeated header", subtotals, 11)
    twin.plant("hours", "test row", 1, 127)
    twin.plant("hours", "blank line", 1, 12)
    twin.plant("hours", "footer line", 2, 10)
    order = [1, 0, 3, 2, 5, 4, 7, 6, 8, 9]
    listed = [HOURS_HEADER, *(_hours_row(row, number, second=True) for number, row in enumerate(second))]
    shuffled = [[row[place] for place in order] for row in listed]
    shuffled[0] = [name.upper().replace(" ", "_") for name in shuffled[0]]
    again = _lines(shuffled, ";", "\n", quote=True).encode("cp1252")
    for name in ("hours_2", "hours_2_copy"):
        (twin.folder / f"{name}.csv").write_bytes(again)
    shared = sum(SPLIT <= _us(row["Period End"]) <= OVERLAP_END for row in rows)
    twin.plant("hours", "already in another file", shared, 20)
    twin.plant("hours", "same file given twice", len(second), 19)
    twin.traps |= {2, 3, 4, 5, 7, 12, 13, 16, 23, 25, 26, 34, 35, 39, 41, 43, 47, 60, 64}


def _hours_extras(twin: Twin, rows: list[Row]) -> list[tuple[list[str], Decimal]]:
    """Rows that must change nothing: corrections taken back, premiums, time not worked, rows without days or hours."""
    found: list[tuple[list[str], Decimal]] = []

    def add(row: Row, code: str, text: str, amount: str, **changed: str) -> None:
        cells = _hours_row({**row, "Pay Code": code}, 1, second=False)
        cells[5] = text
        for name, value in changed.items():
            cells[HOURS_HEADER.index({"start": "From", "end": "Thru", "unit": "Cost Ctr"}[name])] = value
        found.append((cells, Decimal(amount)))

    for row, minus in zip(rows[::40][:12], cycle(["(8,00)", "8,00-", "−8,00", "-8"]), strict=False):
        add(row, "ADJ", "8,00", "8")
        add(row, "ADJ", minus, "-8")
    twin.plant("hours", "used", len(found), 37, 51)
    premiums = rows[7::50][:10]
    for row in premiums:
        add(row, "DIFF", row["Hours"].replace(".", ","), row["Hours"])
    twin.plant("hours", "premium only", len(premiums), 49, 50)
    for row, code in zip(rows[9::60], ("ONCALL", "HOL", "JURY", "CASHOUT", "DONATED"), strict=False):
        add(row, code, "12,00", "12")
    twin.plant("hours", "not worked", 5, 48, 72)
    add(rows[3], "REG", "", "0")
    twin.plant("hours", "hours: required", 1, 35)
    add(rows[4], "REG", "4,00", "4", unit="")
    twin.plant("hours", "unit: required", 1, 8)
    add(rows[5], "REG", "6,00", "6", end="12/31/9999")
    twin.plant("hours", "no date", 1, 32)
    add(rows[6], "REG", "7,00", "7", start="3/1/2024", end="2/1/2024")
    twin.plant("hours", "period reversed", 1, 54)
    add(rows[7], "REG", "80,00", "80", start="1/1/2022", end="1/14/2022")
    twin.plant("hours", "outside the review period", 1, 65)
    add(rows[8], "ADJ", "-500,00", "-500", start="7/1/2023", end="7/1/2023")
    twin.plant("hours", "negative total", 1, 51)
    add(rows[10], "REG", "13/32", "0")
    twin.plant("hours", "hours: type", 1, 38)
    return found


# --- incidents -------------------------------------------------------------------------------------------------------

LOG_HEADER = [
    "Case No.", "Emp. No.", "Employee name", "Date of injury", "Reported", "Where it happened", "Home unit",
    "Job title", "(G) Death", "(H) Days away", "(I) Transfer", "(J) Other", "Not recordable", "(K)", "(L)", "Type (M)",
    "Cause", "Task", "Handling?", "Source person", "Body part", "Injury", "Device", "Helpers", "Effort", "Weight",
    "Privacy", "Paid", "Paid as of", "Who", "Line", "Rev", "Describe what happened",
]  # fmt: skip
BOXES = ("death", "days_away", "restricted_or_transfer", "other_recordable")
YES = cycle(["Yes", "Y", "TRUE", "1", "x", "checked"])
NO = cycle(["No", "N", "FALSE", "0", "unchecked"])
CAUSES = {"overexertion": "Strain", "slip_trip_fall": "Slip/Trip/Fall", "violence": "Assault"}


def _log_date(text: str, number: int) -> str:
    if not text:
        return ("", "-", "n/a")[number % 3]
    day = date.fromisoformat(text)
    numbers = (f"{day:%d.%m.%Y}", f"{day.day}/{day.month}/{day.year}")
    return (*numbers, f"{day:%d-%b-%Y}", f"{day} 00:00:00", f"{day}T23:10:00Z")[number % 5]


def _yes_no(text: str) -> str:
    return next(YES) if text == "yes" else next(NO) if text == "no" else ""


def _case(row: Row, number: int) -> list[str]:
    boxes = ["X" if row["outcome"] == name else "" for name in BOXES]
    if row["outcome"] == "days_away" and number % 9 == 0:
        boxes[3] = "x"  # the less serious box ticked too
    words = {"first_aid": "First aid only", "near_miss": "Near miss"}.get(row["outcome"], "")
    person = row["employee_id"]
    person = f" {person}\u00a0" if person else ("Privacy case", "—", "unk", "")[number % 4]
    cost = f"${Decimal(row['claim_cost']):,.2f}" if row["claim_cost"] else ""
    return [
        row["case_number"], person, "Surname, Given", _log_date(row["event_date"], number),
        _log_date(row["reported_date"], number + 1), _unit(row["unit"], date.fromisoformat(row["event_date"])), "Pool",
        "Nurse\u2019s " + row["job_title"], *boxes, words, row["days_away"], row["days_restricted"],
        row["case_type"].replace("_", " ").title(), CAUSES.get(row["event_type"], row["event_type"]),
        row["activity"].replace("_", " ").upper(), _yes_no(row["handling_related"]), _yes_no(row["source_person"]),
        row["body_part"] + "; other", row["nature"], row["equipment_in_use"].replace("_", "-"), row["helpers"],
        row["assist_share"] and row["assist_share"] + " %", row["client_weight_lb"], _yes_no(row["privacy_case"]),
        cost, _log_date(row["cost_as_of"], 0), ("Staff", "employee", "")[number % 3], "Open", "",
        'Said "ouch",\r\nroom 12' if number % 4 == 0 else "",
    ]  # fmt: skip


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
    if first[0][place["(K)"]] == "0":
        first[0][place["(K)"]] = "180+"
    model = next(cells for row, cells in zip(rows, cases, strict=True) if row["outcome"] == "other_recordable")
    strangers = [_like(model, no=f"V{who[0]}", who=who) for who in ("Resident", "visitor", "Volunteer", "Contractor")]
    struck = [_like(model, no=f"S{line[0]}", line=line) for line in ("Lined out", "VOID", "replaced")]
    wrong = [
        _like(model, no="W1", day="31.02.2024"),
        _like(model, no="W2", day="01.12.2027"),
        _like(model, no="W3", unit=""),
        _like(model, no="W4", day="02.01.2022"),
        _like(model, no="W5"),
    ]
    wrong[4][place["(J) Other"]] = ""
    tail = [_like(model, no="TEST 1"), ["Total", *[""] * 32], ["Confidential", *[""] * 32], ["Generated on 2026-07-20"]]
    body = [*first[:50], LOG_HEADER, *older, *first[50:], *strangers, *struck, *wrong, *tail]
    text = "Log of work-related injuries\r\n\r\n" + _lines([LOG_HEADER, *body], ",", "\r\n")
    (twin.folder / "log_1.csv").write_bytes(text.encode("cp1252"))
    (twin.folder / "log_2.csv").write_bytes(_lines([LOG_HEADER, *second], "|", "\n").encode("utf-8-sig"))
    for rule, count, traps in (
        ("older version", 3, (106,)), ("not staff", 4, (71, 115, 116)), ("struck out", 3, (107,)),
        ("event_date: type", 1, (32,)), ("after the exports were taken", 1, (32,)), ("unit: required", 1, (8,)),
        ("outside the review period", 1, (113,)), ("no outcome", 1, (36,)), ("test row", 1, (127,)),
        ("totals row", 1, (9,)), ("footer line", 2, (10,)), ("repeated header", 1, (11,)),
        ("already in another file", sum(SPLIT <= day <= OVERLAP_END for day in days), (20,)),
    ):  # fmt: skip
        twin.plant("incidents", rule, count, *traps)
    twin.traps |= {1, 14, 16, 28, 29, 30, 34, 36, 37, 46, 103, 109, 110, 114, 117, 118, 119, 122, 123, 132}


# --- training --------------------------------------------------------------------------------------------------------

ROSTER_HEADER = ["Login", "Learner", "Course title", "Done", "Result", "Valid until", "Type", "Signed off", "Due"]
RESULTS = {"completed": "Complete", "passed": "Pass", "failed": "FAIL", "enrolled": "In progress", "waived": "Exempt"}
LOGINS = {"jroe": 40, "mdoe": 80, "kpoe": 120}  # login: row of the roster whose person it is
LATEST = 200  # rows that the second extract repeats


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
        row["expires_on"] or "9999-12-31", row["kind"].replace("_", "-").upper(), _yes_no(row["competency"]),
        "2030-01-01",
    ]  # fmt: skip


def _training(twin: Twin, rows: list[Row]) -> None:
    logins = {rows[place]["employee_id"]: login for login, place in LOGINS.items()}
    twin.codes = CODES.format(logins="\n".join(f'"{login}" = "{person}"' for person, login in logins.items()))
    body = [_completion(row, number, logins) for number, row in enumerate(rows)]
    extra = _roster_extras(twin, rows, body, logins)
    extra += [ROSTER_HEADER, ["Test user", "", "Safe handling", "2024-01-01", "Pass", "", "", "", ""], [""] * 9]
    extra.append(["25 records", *[""] * 8])
    for rule, trap in (("repeated header", 11), ("test row", 127), ("blank line", 12), ("footer line", 10)):
        twin.plant("training", rule, 1, trap)
    text = _lines([ROSTER_HEADER, *body, *extra], "|", "\r")
    (twin.folder / "roster_1.csv").write_bytes(text.encode("utf-8"))
    latest = _lines([ROSTER_HEADER, *body[-LATEST:]], ";", "\n")
    (twin.folder / "roster_2.csv").write_bytes(latest.encode("utf-16"))
    twin.plant("training", "already in another file", LATEST, 20)
    twin.traps |= {4, 13, 41, 45, 81, 82, 86, 89, 95, 96}


def _roster_extras(twin: Twin, rows: list[Row], body: list[list[str]], logins: dict[str, str]) -> list[list[str]]:
    """Rows that must not move anybody's training: copies, retakes, strangers, failures, other courses, bad dates."""
    hands_on = [row for row in rows if row["course"].endswith("hands-on day") and row["status"] == "passed"]
    one = hands_on[-1]

    def like(row: Row, number: int = 0, **changed: str) -> list[str]:
        return _completion({**row, **changed}, number, logins)

    extra = [list(body[place]) for place, row in enumerate(rows) if row in hands_on[3:5]]  # exported twice
    for row in hands_on[:3]:  # a retake: the first pass counts, and no currency is gained
        extra.append(like(row, completed_on=str(date.fromisoformat(row["completed_on"]) + timedelta(days=9))))
    extra.append(like(one, employee_id="999123"))  # nobody's id
    twin.plant("training", "used", 2 + 3 + 1, 79, 80)
    extra += [like(one, 1, status=status, completed_on="2023-02-01") for status in ("failed", "enrolled", "waived")]
    twin.plant("training", "not a qualifying status", 3, 80, 94)
    extra += [like(one, course=course) for course in ("Curriculum: handling", "Peer leader day")]
    twin.plant("training", "not a qualifying course", 2, 83, 100)
    extra.append(like(one, completed_on="2027-02-01"))
    twin.plant("training", "completed in the future", 1, 32)
    extra.append(like(one, expires_on="2022-01-01"))
    twin.plant("training", "expires before it is completed", 1, 98)
    for number, rule in ((0, "employee_id: required"), (3, "completed_on: required")):
        broken = like(one)
        broken[number] = ""
        extra.append(broken)
        twin.plant("training", rule, 1, 35)
    return extra


# --- the rest --------------------------------------------------------------------------------------------------------


def _us_text(text: str) -> str:
    return f"{date.fromisoformat(text):%m/%d/%Y}" if text else ""


def _units(twin: Twin, rows: list[Row]) -> None:
    header = ["UNIT", "Name ", "care type", "Go live", "Comparison", "Opened On", "Closed_On", "Beds", "ALIASES"]
    body = []
    for row in rows:
        also = UNIT_SPELLINGS["Alder House"] if row["unit"] == "Alder House" else row["aliases"]
        tick = "X" if row["comparison"] == "yes" else "no"
        opened, closed = _us_text(row["opened_on"]), _us_text(row["closed_on"])
        go_live = _us_text(row["program_start"])
        body.append([row["unit"], row["name"], row["care_type"], go_live, tick, opened, closed, row["beds"], also])
    (twin.folder / "units.csv").write_bytes(_lines([header, *body], ";", "\r\n").encode("utf-8-sig"))
    twin.traps |= {1, 4, 16, 47}


def _totals(twin: Twin, rows: list[Row]) -> None:
    body = [[*list(row.values())[:5], f"{int(row['hours']):,}"] for row in rows]
    (twin.folder / "annual_totals.csv").write_bytes(_lines([list(rows[0]), *body], ",", "\n").encode("utf-8"))
    twin.traps |= {6, 150}


PROGRAM = """\
[facility]
name = "Quillmere Care Campus"
naics = "623110"
[review]
start = 2023-01-01
end = 2026-06-30
as_of = 2026-07-20
log_complete_through = 2026-06-30
hours_complete_through = 2026-07-04
fiscal_year_start_month = 7
[files]
incidents = ["log_1.csv", "log_2.csv"]
hours = ["hours_1.csv", "hours_2.csv", "hours_2_copy.csv"]
training = ["roster_1.csv", "roster_2.csv"]
units = "units.csv"
equipment = "equipment.csv"
observations = "observations.csv"
exposure = "exposure.csv"
events = "events.csv"
annual_totals = "annual_totals.csv"
reference_rates = "reference_rates.csv"
[training]
qualifying_courses = ["Safe handling, hands-on day*", "Safe handling, refresher"]
refresher_months = 24
"""
COLUMNS = """\
[columns.hours]
unit = "Cost Ctr"
employee_id = "Badge #"
period_start = "From"
period_end = "Thru"
pay_code = "Code"
hours = "Qty Hrs"
role = "Job"
source = "Src"
[columns.incidents]
case_number = "Case No."
employee_id = "Emp. No."
event_date = "Date of injury"
reported_date = "Reported"
unit = "Where it happened"
tick_death = "(G) Death"
tick_days_away = "(H) Days away"
tick_restricted = "(I) Transfer"
tick_other = "(J) Other"
outcome = "Not recordable"
days_away = "(K)"
days_restricted = "(L)"
case_type = "Type (M)"
event_type = "Cause"
activity = "Task"
handling_related = "Handling?"
nature = "Injury"
equipment_in_use = "Device"
assist_share = "Effort"
client_weight_lb = "Weight"
privacy_case = "Privacy"
claim_cost = "Paid"
cost_as_of = "Paid as of"
person_type = "Who"
row_status = "Line"
version = "Rev"
[columns.training]
employee_id = "Login"
course = "Course title"
completed_on = "Done"
status = "Result"
expires_on = "Valid until"
kind = "Type"
competency = "Signed off"
[columns.units]
program_start = "Go live"
"""
FORMS = """\
[dates]
hours = "mdy"
incidents = "dmy"
units = "mdy"
[decimal_comma]
hours = true
"""
CODES = """\
[ids]
zero_pad = 6
[codes.hours.source]
"PAYROLL" = "payroll"
"AP" = "agency"
[codes.incidents.outcome]
"first aid only" = "first_aid"
[codes.incidents.event_type]
"strain" = "overexertion"
"assault" = "violence"
[codes.training.status]
"88" = "passed"
[codes.training.employee_id]
{logins}
[pay_codes]
worked = ["REG", "OT", "EDU", "AGY", "ADJ"]
not_worked = ["PTO", "SICK", "ONCALL", "HOL", "JURY", "CASHOUT", "DONATED"]
premium_only = ["OTP", "DIFF"]
[[units.changes]]
on = 2024-01-01
old = ["Elm Sub-Acute"]
new = ["Elm Skilled"]
"""
