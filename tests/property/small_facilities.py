"""Small whole facilities at random, each from its number: all ten files, odd settings, odd names, odd amounts.

They are written to be built in about a second, and to reach the corners of a review: no cases, one unit, one quarter,
nobody trained, hidden cells, models with nothing to fit.
"""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import numpy as np

FIRST = date(2022, 1, 1)
NAMES = (
    "North", "South", "East Wing", "Étage 3", "4 West", "A&B <b>", "Total care", "O'Hara \"2\"", "病棟", "u" * 120, "7",
)  # fmt: skip
OUTCOMES = ("days_away", "restricted_or_transfer", "other_recordable", "first_aid", "near_miss", "death")
ACTIVITIES = ("reposition_in_bed", "lateral_transfer", "stand_pivot", "toileting", "not_handling", "unknown", "")
EQUIPMENT = ("none", "gait_belt", "ceiling_lift", "")
SERIES = ("handling", "recordable", "dart", "days_away")
DESIGNS = ("strongest",) * 6 + (
    "before_after", "negative_control", "comparison", "interrupted", "adjusted", "within_quarter", "staggered",
)  # fmt: skip
STEPS = ("brakes_set", "chair_angle_60_to_90", "stronger_side_first", "rests_cleared")


@dataclass
class Small:
    """One facility: tables as rows of text with the header first, and the lines of its program file."""

    tables: dict[str, list[list[str]]] = field(default_factory=dict)
    program: list[str] = field(default_factory=list)
    as_of: date = FIRST

    def write(self, folder: Path) -> Path:
        """All files into ``folder``; returns the program file."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, rows in self.tables.items():
            with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
                csv.writer(stream, lineterminator="\n").writerows(rows)
        (folder / "program.toml").write_text("\n".join(self.program) + "\n", encoding="utf-8", newline="\n")
        return folder / "program.toml"


def draw(seed: int, number: int) -> Small:
    """The facility of this number; the same numbers give the same facility."""
    random = np.random.Generator(np.random.PCG64([seed, number]))
    quarters = int(random.choice([1, 2, 3, 5, 9], p=[0.3, 0.3, 0.2, 0.15, 0.05]))
    last = _quarter_end(quarters)
    units = [str(n) for n in random.permutation(NAMES)[: random.choice([1, 2, 4], p=[0.4, 0.5, 0.1])]]
    people = [f"{100 + i:04d}" for i in range(int(random.choice([1, 3, 8, 20])))]
    home = {person: units[int(random.integers(len(units)))] for person in people}
    found = Small(as_of=last + timedelta(days=int(random.choice([0, 20, 100]))))
    found.tables["hours"] = _hours(random, people, home, units, last)
    found.tables["incidents"] = _incidents(random, people, units, last)
    found.tables["training"] = _training(random, people, last)
    _optional(random, found.tables, units, last)
    found.program = _program(random, found.tables, units, last, found.as_of)
    return found


def _quarter_end(quarters: int) -> date:
    months = 3 * quarters
    return date(FIRST.year + months // 12, 1 + months % 12, 1) - timedelta(days=1)


def _day(random: np.random.Generator, last: date) -> date:
    return FIRST + timedelta(days=int(random.integers((last - FIRST).days + 1)))


def _hours(
    random: np.random.Generator, people: list[str], home: dict[str, str], units: list[str], last: date
) -> list[list[str]]:
    length = int(random.choice([30, 91, 91]))
    odd = random.random() < 0.3
    rows = [["employee_id", "unit", "period_start", "period_end", "hours", "role"]]
    start = FIRST
    while start <= last:
        end = min(start + timedelta(days=length - 1), last)
        days = (end - start).days + 1
        for person in people:
            if random.random() < 0.05:
                continue
            worked = days * 24 * random.random() / 4 if odd else days * 5.0
            rows.append([person, home[person], str(start), str(end), f"{worked:.2f}", str(random.choice(["RN", "NA"]))])
        for unit in units:
            size = float(random.choice([0.0, 8.0, 900.0, 40_000.0]))
            rows.append(["", unit, str(start), str(end), f"{size * days / 30:.1f}", ""])
        start = end + timedelta(days=1)
    return rows


def _incidents(random: np.random.Generator, people: list[str], units: list[str], last: date) -> list[list[str]]:
    many = int(random.choice([0, 1, 2, 6, 25, 80]))
    head = "case_number,employee_id,event_date,reported_date,unit,job_title,outcome,days_away,days_restricted,activity"
    rows = [[*head.split(","), "event_type", "body_part", "equipment_in_use", "helpers", "claim_cost", "privacy_case"]]
    for case in range(max(many, 1)):
        day = _day(random, last)
        outcome = str(random.choice(OUTCOMES, p=[0.25, 0.2, 0.3, 0.15, 0.09, 0.01])) if many else "near_miss"
        days = int(random.geometric(0.05)) if outcome in ("days_away", "restricted_or_transfer") else 0
        away = outcome == "days_away"
        rows.append([
            str(case + 1), str(random.choice([*people, ""])), str(day),
            str(min(day + timedelta(days=int(random.geometric(0.2)) - 1), last)), str(random.choice(units)),
            str(random.choice(["RN", "NA", ""])), outcome, str(days if away else 0), str(0 if away else days),
            str(random.choice(ACTIVITIES)), str(random.choice(["overexertion", "slip_trip_fall", "violence", ""])),
            str(random.choice(["low back", "shoulder", "wrist", ""])), str(random.choice(EQUIPMENT)),
            str(random.choice(["", "1", "2"])), str(random.choice(["", "0", "950.50", "250000"])),
            str(random.choice(["", "no", "yes"], p=[0.6, 0.37, 0.03])),
        ])  # fmt: skip
    return rows


def _training(random: np.random.Generator, people: list[str], last: date) -> list[list[str]]:
    rows = [["employee_id", "course", "completed_on", "status"]]
    share = float(random.choice([0.0, 0.3, 0.9, 1.0]))
    for person in people:
        for _ in range(1 if random.random() < 0.8 else 2):
            if random.random() < share:
                rows.append(
                    [person, "Safe handling", str(_day(random, last)), str(random.choice(["passed", "failed"]))]
                )
    return rows if len(rows) > 1 else [*rows, [people[0], "Fire drill", str(FIRST), "passed"]]


def _optional(random: np.random.Generator, tables: dict[str, list[list[str]]], units: list[str], last: date) -> None:
    """Each optional file about half the time."""
    if random.random() < 0.6:
        rows = [["unit", "program_start", "comparison", "care_type"]]
        for unit in units:
            compared = random.random() < 0.2
            start = "" if compared or random.random() < 0.2 else str(_day(random, last))
            rows.append([unit, start, "yes" if compared else "no", "long_term_care"])
        tables["units"] = rows
    if random.random() < 0.4:
        tables["events"] = [["date", "unit", "what"], [str(_day(random, last)), "all", "A new <i>log</i> & form"]]
    if random.random() < 0.4:
        head = ["year", "deaths", "days_away_cases", "restricted_cases", "other_cases", "hours"]
        tables["annual_totals"] = [head, ["2022", "0", "3", "2", "5", "50000"]]
    if random.random() < 0.4:
        end = min(last, FIRST + timedelta(days=89))
        tables["exposure"] = [["unit", "period_start", "period_end", "measure", "quantity"]] + [
            [unit, str(FIRST), str(end), "patient_days", str(int(random.integers(0, 3000)))] for unit in units
        ]
    if random.random() < 0.4:
        tables["equipment"] = [["unit", "equipment", "quantity", "in_service_on", "unit_cost"]] + [
            [unit, "ceiling_lift", str(int(random.integers(0, 9))), str(_day(random, last)), "9500"] for unit in units
        ]
    if random.random() < 0.4:
        tables["observations"] = [["observed_on", "unit", "transfer_type", "item", "met"]] + [
            [str(_day(random, last)), str(random.choice(units)), "stand_pivot", str(random.choice(STEPS)),
             str(random.choice(["yes", "no", "not_applicable"]))]
            for _ in range(int(random.choice([1, 20, 200])))
        ]  # fmt: skip


def _program(
    random: np.random.Generator, tables: dict[str, list[list[str]]], units: list[str], last: date, as_of: date
) -> list[str]:
    lines = ["[facility]", f"name = {json.dumps(str(random.choice(NAMES)), ensure_ascii=False)}", "[review]"]
    if random.random() < 0.7:
        lines += [f"start = {FIRST}", f"end = {last}", f"log_complete_through = {last}"]
    lines += [f"as_of = {as_of}", f"fiscal_year_start_month = {random.choice([1, 1, 7, 10])}", "[files]"]
    lines += [f'{name} = "{name}.csv"' for name in tables]
    lines += ["[training]", f"washout_days = {random.choice([0, 1, 30, 200])}"]
    lines += [f"refresher_months = {random.choice([1, 12, 24])}"] if random.random() < 0.4 else []
    lines += ['qualifying_courses = ["Safe handling"]'] if random.random() < 0.7 else []
    lines += ["[analysis]", f'series = "{random.choice(SERIES)}"', f'design = "{random.choice(DESIGNS)}"']
    lines += [f"confidence = {random.choice([0.5, 0.8, 0.95, 0.999])}"]
    lines += [f"target_reduction = {random.choice([0.01, 0.5, 0.99])}"]
    lines += ["[thresholds]", f"privacy_cell = {random.choice([0, 5, 10])}"] if random.random() < 0.5 else []
    if random.random() < 0.5:
        lines += ["[money]", "year = 2024", 'owner = "Finance"', "stated_on = 2024-01-01"]
        lines += ["cost_low = 1", "cost_base = 9000", "cost_high = 90000"] if random.random() < 0.6 else []
        lines += ["wage_per_hour = 30", "hours_per_completion = 4"] if random.random() < 0.6 else []
        lines += _proposals(random, units) if random.random() < 0.7 else []
    return lines


def _proposals(random: np.random.Generator, units: list[str]) -> list[str]:
    lines: list[str] = []
    for number in range(int(random.integers(1, 4))):
        low, base, high = sorted(float(x) for x in random.choice([0.0, 0.1, 0.3, 1.0], 3))
        lines += [
            "[[money.proposals]]", f'name = "Lift {number}"', f"unit = {json.dumps(units[0], ensure_ascii=False)}",
            'equipment = "ceiling_lift"', f"quantity = {random.integers(1, 5)}", "unit_cost = 9000",
            "yearly_service = 100", "life_years = 10", f"share_addressed = {random.choice([0.0, 0.4, 1.0])}",
            f"reduction_low = {low}", f"reduction_base = {base}", f"reduction_high = {high}",
            'source = "a pilot"', 'owner = "Therapy"', "stated_on = 2024-01-01",
        ]  # fmt: skip
    return lines
