"""What is watched at the made-up facility: its quarters, cases by month, waits, audits, claims, kinds of cases."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

import pandas as pd

QUARTERS = tuple(f"{year}-Q{q}" for year in range(2023, 2027) for q in (1, 2, 3, 4))[:14]
WATCHED = ("handling", "recordable", "dart", "days_away")
ACTIVITIES = ("reposition_in_bed", "stand_pivot", "toileting", "two_person_lift", "mechanical_lift", "unknown")
GROUPS = {
    "job": ("nurse aide", "registered nurse", "therapist"),
    "tenure": ("first 3 months", "3 to 12 months", "1 to 2 years", "not known"),
    "body_part": ("low back", "shoulder", "wrist", "knee"),
    "nature": ("sprain_strain", "soreness_pain"),
    "hour": ("04", "08", "16", "not given"),
}


def quarter_days(quarter: str) -> tuple[date, date]:
    year, number = int(quarter[:4]), int(quarter[6])
    start = date(year, 3 * number - 2, 1)
    after = date(year + number // 4, 3 * number % 12 + 1, 1)
    return start, after - timedelta(days=1)


def months(person: pd.DataFrame) -> pd.DataFrame:
    """Each quarter in three months: hours in equal parts, cases dealt out in turn."""
    cells = person[person["series"].isin(WATCHED)].pivot_table(
        index=["unit", "quarter"], columns="series", values="events", aggfunc="sum", fill_value=0
    )
    hours = person[person["series"] == "handling"].groupby(["unit", "quarter"])["hours"].sum().to_dict()
    rows = []
    for (unit, quarter), row in cells.to_dict("index").items():
        first = quarter_days(str(quarter))[0]
        for step in range(3):
            counts = [(int(row.get(series, 0)) + 2 - step) // 3 for series in WATCHED]
            month = f"{first.year}-{first.month + step:02d}"
            rows.append((unit, quarter, month, round(float(hours[(unit, quarter)]) / 3, 4), *counts))
    return pd.DataFrame(rows, columns=["unit", "quarter", "month", "hours", *WATCHED])


def waits(person: pd.DataFrame) -> pd.DataFrame:
    """Cases spread evenly over the days of their quarter, facility first, then each unit."""
    counts: Counter[tuple[str, str, str]] = Counter()
    for unit, series, quarter, events in zip(
        *(person[name].tolist() for name in ("unit", "series", "quarter", "events")), strict=True
    ):
        counts.update({("", series, quarter): events, (unit, series, quarter): events})
    quarters = sorted({quarter for _, _, quarter in counts})
    end = quarter_days(quarters[-1])[1]
    rows = []
    for unit in sorted({unit for unit, _, _ in counts}):
        for series in WATCHED:
            days = []
            for quarter in quarters:
                first, last = quarter_days(quarter)
                length, count = (last - first).days + 1, counts[unit, series, quarter]
                days += [(first + timedelta(days=length * i // count), quarter) for i in range(count)]
            for at, (day, quarter) in enumerate(days):
                gap = (day - days[at - 1][0]).days if at else None
                rows.append((unit, series, at + 1, quarter, gap, (end - days[-1][0]).days))
    found = pd.DataFrame(rows, columns=["unit", "series", "position", "quarter", "days", "days_since"])
    return found.astype({"days": "Int64"})


def audits() -> pd.DataFrame:
    """Technique audits of two units and two steps, a little better each quarter."""
    rows = [
        (quarter, unit, transfer, item, 6 + step // 3 + (item == "brakes_set"), 4 - step // 4, step % 2)
        for step, quarter in enumerate(QUARTERS)
        for unit, transfer in (("1N", "stand_pivot"), ("2N", "mechanical_lift"))
        for item in ("brakes_set", "load_close")
    ]
    return pd.DataFrame(rows, columns=["quarter", "unit", "transfer_type", "item", "met", "not_met", "not_applicable"])


def claims() -> pd.DataFrame:
    """Costs of thirty handling cases, one of them large, and of three that are too young."""
    rows = [("2024-Q1", True, True, 2_000.0 + 300 * i, 1) for i in range(29)]
    rows += [
        ("2024-Q2", True, True, 90_000.0, 1),
        ("2026-Q1", True, False, 500.0, 3),
        ("2024-Q3", False, True, 700.0, 4),
    ]
    return pd.DataFrame(rows, columns=["quarter", "is_handling", "is_old_enough", "cost", "cases"])


def training_due() -> pd.DataFrame:
    """People by what is to be done about their training, a few of each kind in three units."""
    rows = [
        ("1N", "never_trained", "", 3), ("1N", "overdue", "", 2), ("1N", "due", "2026-08", 6),
        ("1N", "due", "2027-09", 9), ("2N", "due", "2026-07", 4), ("2N", "due", "2026-12", 11),
        ("2N", "unknown", "", 2), ("3W", "comparison_unit", "", 30),
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["unit", "state", "due_month", "people"])


def watched(person: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Tables about single cases, added up: each quarter's cases dealt out to kinds in turn."""
    counts = person[person["series"].isin((*WATCHED, "first_aid"))].pivot_table(
        index="quarter", columns="series", values="events", aggfunc="sum", fill_value=0
    )
    hours = person[person["series"] == "handling"].groupby("quarter")["hours"].sum()
    tasks, groups, case_days, lags, staff = [], [], [], [], []
    turn = 0
    for quarter, row in counts.iterrows():
        for _ in range(int(row["handling"])):
            turn += 1
            activity = ACTIVITIES[turn % 6]
            equipment = ("none", "gait_belt", "floor_lift")[turn % 3]
            technique = "not_a_technique" if activity not in ("stand_pivot", "two_person_lift") else "in_band"
            load = "not_counted" if equipment == "floor_lift" else ("over_limit", "within_limit", "not_known")[turn % 3]
            suited = ("in_use", "on_unit_not_in_use", "not_on_unit")[turn % 3]
            tasks.append((quarter, activity, equipment, technique, load, suited, 1, turn % 2))
            groups += [
                (quarter, kind, names[turn % len(names)], 1, 1, turn % 2, turn % 3 == 0)
                for kind, names in GROUPS.items()
            ]
        for at in range(int(row["recordable"])):
            outcome = ("days_away", "restricted_or_transfer", "other_recordable")[at % 3]
            lost = 0 if outcome == "other_recordable" else 3 + 7 * at
            case_days.append((quarter, outcome, at % 2 == 0, lost, False, False, 1))
            lags.append((quarter, at % 4, 1, at % 2, 0, 0, 0))
        lags.append((quarter, 2, 0, 0, 0, 0, int(row["first_aid"])))
        for job in GROUPS["job"]:
            for tenure in GROUPS["tenure"]:
                staff.append((quarter, job, tenure, float(hours[quarter]) / 12))
    n = sum(row[2] for row in lags)
    curve = [(day, n // 4 + (n % 4 > day), sum(n // 4 + (n % 4 > d) for d in range(day + 1))) for day in range(4)]
    linked = len(tasks)
    expected = [("expected", round(linked / 250, 4), 250)]
    seen = [("seen", 1.0, max(linked - 12, 0)), ("seen", 2.0, 6)] if linked >= 12 else [("seen", 1.0, linked)]
    return {
        "tasks": pd.DataFrame(
            tasks,
            columns=[
                *("quarter", "activity", "equipment_in_use", "technique", "load", "suited_equipment"),
                *("recordable", "first_aid"),
            ],
        ),
        "case_groups": pd.DataFrame(groups, columns=["quarter", "kind", "value", *WATCHED]),
        "case_days": pd.DataFrame(
            case_days, columns=["quarter", "outcome", "is_handling", "days", "is_blank", "is_counting", "cases"]
        ).astype({"is_handling": bool}),
        "lags": pd.DataFrame(
            lags, columns=["quarter", "lag_days", "recordable", "handling", "dart", "days_away", "first_aid"]
        ),
        "staff_hours": pd.DataFrame(staff, columns=["quarter", "job", "tenure", "hours"]),
        "lag_curve": pd.DataFrame([row for row in curve if row[1]], columns=["lag_days", "cases", "reported_by_then"]),
        "repeats": pd.DataFrame([*seen, *expected], columns=["kind", "cases", "people"]),
        "audits": audits(),
        "training_due": training_due(),
        "claims": claims(),
        "months": months(person),
        "waits": waits(person),
    }
