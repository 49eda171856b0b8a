"""The optional files: units, equipment, technique audits, second denominators, diary, posted totals, BLS rates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import polars as pl

from handling_review.simulate.injuries import calendar_quarters, quarter_end
from handling_review.simulate.plan import Plan

ITEMS = (
    "brakes_set",
    "chair_angle_60_to_90",
    "stronger_side_first",
    "rests_cleared",
    "client_at_edge",
    "steps_explained",
    "count_given",
    "stance_wide",
    "knees_bent",
    "load_close",
    "look_behind",
    "discomfort_asked",
)
TRANSFERS = ("stand_pivot", "squat_pivot", "two_person_lift", "lateral_transfer", "mechanical_lift")
EQUIPMENT_COST = {
    "gait_belt": 24,
    "friction_reducing_sheet": 180,
    "sliding_board": 95,
    "floor_lift": 4800,
    "sit_to_stand_lift": 3900,
    "ceiling_lift": 7200,
}

# all private industry by year: recordable, DART, days away, restricted or transfer, other recordable
PRIVATE_INDUSTRY: dict[int, tuple[float, float, float, float, float]] = {
    2003: (5.0, 2.6, 1.5, 1.1, 2.4),
    2005: (4.6, 2.4, 1.4, 1.0, 2.2),
    2008: (3.9, 2.0, 1.1, 0.9, 1.9),
    2010: (3.5, 1.8, 1.1, 0.8, 1.7),
    2011: (3.4, 1.8, 1.0, 0.7, 1.7),
    2012: (3.4, 1.8, 1.0, 0.7, 1.6),
    2013: (3.3, 1.7, 1.0, 0.7, 1.6),
    2014: (3.2, 1.7, 1.0, 0.7, 1.5),
    2015: (3.0, 1.6, 0.9, 0.7, 1.4),
    2016: (2.9, 1.6, 0.9, 0.7, 1.3),
    2017: (2.8, 1.5, 0.9, 0.7, 1.3),
    2018: (2.8, 1.6, 0.9, 0.7, 1.3),
}


def units(plan: Plan) -> pl.DataFrame:
    """One row a unit."""
    return pl.DataFrame(
        {
            "unit": [u.unit for u in plan.units],
            "name": [u.name for u in plan.units],
            "care_type": [u.care_type for u in plan.units],
            "program_start": pl.Series([u.go_live for u in plan.units], dtype=pl.Date),
            "comparison": ["yes" if u.comparison else "no" for u in plan.units],
            "opened_on": [u.opened_on for u in plan.units],
            "closed_on": pl.Series([None] * len(plan.units), dtype=pl.Date),
            "beds": pl.Series([u.beds for u in plan.units], dtype=pl.Int64),
            "aliases": pl.Series(
                ["|".join(filter(None, (u.alias, u.former_name))) or None for u in plan.units], dtype=pl.String
            ),
        }
    )


def equipment(plan: Plan) -> pl.DataFrame:
    """What each unit holds: some from the opening, the rest around the first class."""
    rows: list[tuple[str, str, int, date, int]] = []
    for unit in plan.units:
        beds = unit.beds or 12
        rows.append((unit.unit, "gait_belt", max(6, beds // 3), unit.opened_on, EQUIPMENT_COST["gait_belt"]))
        rows.append((unit.unit, "floor_lift", max(1, beds // 20), unit.opened_on, EQUIPMENT_COST["floor_lift"]))
        if unit.go_live is None:
            continue
        start = unit.go_live - timedelta(days=14)
        later = unit.go_live + timedelta(days=90)
        rows.append((unit.unit, "friction_reducing_sheet", max(2, beds // 2), start, 180))
        rows.append((unit.unit, "sliding_board", 3, start, EQUIPMENT_COST["sliding_board"]))
        rows.append((unit.unit, "sit_to_stand_lift", max(1, beds // 16), start, 3900))
        if unit.beds and unit.beds >= 30:
            rows.append((unit.unit, "ceiling_lift", 2, later, EQUIPMENT_COST["ceiling_lift"]))
    schema = ("unit", "equipment", "quantity", "in_service_on", "unit_cost")
    return pl.DataFrame(rows, schema=schema, orient="row").filter(pl.col("in_service_on") <= plan.as_of)


def observations(plan: Plan) -> pl.DataFrame:
    """Two observed transfers a unit and quarter, twelve items each; practice improves after the first class."""
    random = plan.generator("observations")
    rows: list[tuple[date, str, str, str, str]] = []
    for quarter in calendar_quarters(plan.start, plan.end):
        for unit in plan.units:
            for _ in range(2):
                last = min(quarter_end(quarter), plan.end)
                first = max(quarter, plan.start)
                on = first + timedelta(days=int(random.integers(0, (last - first).days + 1)))
                transfer = TRANSFERS[int(random.integers(0, len(TRANSFERS)))]
                done = 0.86 if unit.go_live is not None and on >= unit.go_live else 0.63
                met = random.random(len(ITEMS)) < done
                apart = random.random(len(ITEMS)) < 0.06
                for item, ok, none in zip(ITEMS, met, apart, strict=True):
                    rows.append((on, unit.unit, transfer, item, "not_applicable" if none else "yes" if ok else "no"))
    schema = ("observed_on", "unit", "transfer_type", "item", "met")
    return pl.DataFrame(rows, schema=schema, orient="row").sort("observed_on", "unit", maintain_order=True)


def exposure(plan: Plan) -> pl.DataFrame:
    """Patient-days by month for units with beds; transfers by month for the others."""
    random = plan.generator("exposure")
    rows: list[tuple[str, date, date, str, int]] = []
    for unit in plan.units:
        first = plan.start
        while first <= plan.end:
            following = (first.replace(day=1) + timedelta(days=32)).replace(day=1)
            last = min(following - timedelta(days=1), plan.end)
            days = (last - first).days + 1
            full = float(random.uniform(0.82, 0.97))
            if unit.beds:
                rows.append((unit.unit, first, last, "patient_days", round(unit.beds * full * days)))
            else:
                rows.append((unit.unit, first, last, "transfers", round(64 * full * days)))
            first = following
    schema = ("unit", "period_start", "period_end", "measure", "quantity")
    return pl.DataFrame(rows, schema=schema, orient="row")


def diary(plan: Plan) -> pl.DataFrame:
    """What else happened: first classes, and events that could move injuries or their recording on their own."""
    rows = [(u.go_live, u.unit, "First hands-on safe handling class") for u in plan.units if u.go_live]
    rows += [
        (u.go_live + timedelta(days=90), u.unit, "Two ceiling lifts in service")
        for u in plan.units
        if u.go_live and u.beds and u.beds >= 30
    ]
    span = (plan.end - plan.start).days
    for part, what in (
        (0.16, "New incident reporting form; first-aid cases easier to enter"),
        (0.45, "Respiratory outbreak, four weeks of extra agency staff"),
        (0.77, "Safe handling policy approved by the safety committee"),
    ):
        rows.append((plan.start + timedelta(days=int(span * part)), "all", what))
    rows += [
        (u.renamed_on, u.unit, f"Unit renamed from {u.former_name}") for u in plan.units if u.renamed_on and plan.mess
    ]
    kept = sorted(row for row in rows if plan.start <= row[0] <= plan.end)
    return pl.DataFrame(kept, schema=("date", "unit", "what"), orient="row")


def annual_totals(plan: Plan, log: pl.DataFrame, hours_by_quarter: Sequence[float]) -> pl.DataFrame:
    """The posted summary of each full calendar year: cases by outcome from the log, hours to the whole hour."""
    quarters = calendar_quarters(plan.start, plan.end)
    rows = []
    for year in range(plan.start.year, plan.end.year + 1):
        if plan.start > date(year, 1, 1) or plan.end < date(year, 12, 31):
            continue
        outcome = log.filter(pl.col("event_date").dt.year() == year)["outcome"]
        cases = [
            int((outcome == o).sum()) for o in ("death", "days_away", "restricted_or_transfer", "other_recordable")
        ]
        hours = math.fsum(h for q, h in zip(quarters, hours_by_quarter, strict=True) if q.year == year)
        rows.append((year, *cases, round(hours)))
    schema = dict.fromkeys(("year", "deaths", "days_away_cases", "restricted_cases", "other_cases", "hours"), pl.Int64)
    return pl.DataFrame(rows, schema=schema, orient="row")


def reference_rates() -> pl.DataFrame:
    """Published rates of work-related injury and illness that were read in the page named; nothing remembered.

    Figures that their publisher withdrew (2011 and 2012 industry detail), that are derived from others, on which two
    pages disagree, or that use the older industry codes are left out.
    """
    chart = "BLS, survey of occupational injuries and illnesses, chart data 2018"
    table4 = "BLS news release, survey of occupational injuries and illnesses, table 4"
    review = "BLS, Monthly Labor Review 2017, figure data"
    kinds = ("recordable", "dart", "days_away", "restricted_or_transfer", "other_recordable")
    hundred, ten_thousand = 200_000, 20_000_000
    rows: list[tuple[str, str, str, str, float, int, str]] = [
        ("all", "private", str(year), kind, rate, hundred, chart)
        for year, rates in PRIVATE_INDUSTRY.items()
        for kind, rate in zip(kinds, rates, strict=True)
    ]
    release = "Press reports of the BLS release for 2024"
    rows += [
        ("all", "private", "2022", "recordable", 2.7, hundred, "Press report of the BLS release for 2022"),
        ("all", "private", "2023", "recordable", 2.4, hundred, release),
        ("all", "private", "2024", "recordable", 2.3, hundred, release),
        ("all", "private", "2023-2024", "days_away", 86.6, ten_thousand, release),
        ("all", "private", "2023-2024", "restricted_or_transfer", 54.2, ten_thousand, release),
        ("62", "not_stated", "2023", "recordable", 3.6, hundred, release),
        ("62", "not_stated", "2024", "recordable", 3.4, hundred, release),
        ("622", "not_stated", "2013", "recordable", 6.4, hundred, "Insurer's safety page citing BLS"),
        ("622", "private", "2015", "recordable", 6.0, hundred, review),
        ("622", "state", "2015", "recordable", 8.1, hundred, review),
        ("622", "local", "2015", "recordable", 5.2, hundred, review),
        ("622", "not_stated", "2021", "recordable", 6.1, hundred, "Becker's Hospital Review citing BLS"),
        ("623", "private", "2014", "recordable", 7.1, hundred, "McKnight's Long-Term Care News, PHI, citing BLS"),
    ]
    news = "McKnight's Long-Term Care News citing BLS"
    for year, rates in {"2015": (6.8, 12.0, 7.2), "2016": (6.5, 13.7, 6.1)}.items():
        for owner, rate in zip(("private", "state", "local"), rates, strict=True):
            rows.append(("623", owner, year, "recordable", rate, hundred, news))
    senior = "McKnight's Senior Living citing BLS"
    rows += [
        ("6233", "private", "2016", "recordable", 6.5, hundred, senior),
        ("6233", "private", "2016", "days_away", 1.8, hundred, senior),
        ("623", "not_stated", "2021", "recordable", 7.3, hundred, "Becker's Hospital Review citing BLS"),
    ]
    for naics, rates in {"62": (1.0, 3.0, 1.9), "622": (1.3, 3.7, 2.3), "623": (1.7, 7.9, 4.0)}.items():
        for year, rate in zip(("2019", "2020", "2021"), rates, strict=True):
            rows.append((naics, "private", year, "days_away", rate, hundred, table4))
    for naics, rate in {"6216": 2.6, "621": 2.5, "6214": 3.9, "62191": 10.5}.items():
        rows.append((naics, "not_stated", "2021", "recordable", rate, hundred, "Becker's Hospital Review citing BLS"))
    schema = ("naics", "ownership", "year", "case_type", "rate", "base_hours", "source")
    return pl.DataFrame(rows, schema=schema, orient="row").sort("naics", "year", "ownership", maintain_order=True)
