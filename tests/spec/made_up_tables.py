"""A small made-up facility as result tables: seven units, fourteen quarters, the same on every run.

Nothing here is measured. Seeds and rates only serve to give every shape that a review has to print.
"""

from __future__ import annotations

import random
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd

from handling_review.evidence.assemble import Review, assemble
from handling_review.evidence.tables import ResultTables, Scope
from handling_review.program import Analysis, Facility, Money, Period, Program, Proposal, Training
from spec.made_up_watched import QUARTERS, quarter_days, watched

# code, name, kind of care, hours a quarter, quarter in which training starts (None: comparison unit)
UNITS = (
    ("1N", "1 North", "long-term care", 16_400, 3),
    ("1S", "1 South", "long-term care", 15_900, 4),
    ("2N", "2 North", "memory care", 17_300, 5),
    ("2S", "2 South", "memory care", 14_800, 6),
    ("3E", "3 East", "skilled nursing", 19_600, 7),
    ("3W", "3 West", "skilled nursing", 18_200, None),
    ("TH", "Rehab & Therapy", "therapy", 7_100, 6),
)
SERIES = ("handling", "non_handling", "recordable", "dart", "days_away", "first_aid")


def _shares(step: int, start: int | None) -> dict[tuple[str, bool], float]:
    """Share of a unit's hours by phase and lapse, so many quarters after its training starts."""
    if start is None:
        return {("never", False): 0.93, ("unknown", False): 0.07}
    passed = step - start
    if passed < 0:
        return {("before", False): 0.85, ("never", False): 0.08, ("unknown", False): 0.07}
    if passed == 0:
        return {
            ("before", False): 0.40,
            ("washout", False): 0.32,
            ("after", False): 0.13,
            ("never", False): 0.08,
            ("unknown", False): 0.07,
        }
    lapsed = 0.18 if passed >= 8 else 0.0
    return {
        ("before", False): 0.05,
        ("washout", False): 0.02,
        ("after", False): 0.78 - lapsed,
        ("after", True): lapsed,
        ("never", False): 0.08,
        ("unknown", False): 0.07,
    }


def _draw(dice: random.Random, expected: float) -> int:
    """One Poisson count by counting exponential waits."""
    count, waited = 0, dice.expovariate(1.0)
    while waited < expected:
        count, waited = count + 1, waited + dice.expovariate(1.0)
    return count


def person_time(ratio: float = 0.5, seed: int = 7, busy_unit: str = "3E") -> pd.DataFrame:
    dice = random.Random(seed)
    rows = []
    for step, quarter in enumerate(QUARTERS):
        for unit, _, _, hours, start in UNITS:
            for (phase, lapsed), share in _shares(step, start).items():
                cell_hours = round(hours * (1 + 0.02 * ((step * 7 + len(unit)) % 5 - 2)) * share, 4)
                if cell_hours <= 0:
                    continue
                level = 11 * (ratio if phase == "after" else 1) * (1.9 if unit == busy_unit else 0.9)
                handling = _draw(dice, level * cell_hours / 200_000)
                other = _draw(dice, 5 * cell_hours / 200_000)
                dart = sum(dice.random() < 0.55 for _ in range(handling + other))
                events = {
                    "handling": handling,
                    "non_handling": other,
                    "recordable": handling + other,
                    "dart": dart,
                    "days_away": sum(dice.random() < 0.6 for _ in range(dart)),
                    "first_aid": _draw(dice, 14 * cell_hours / 200_000),
                }
                go_live = "none" if start is None else ("before" if step < start else "after")
                rows += [
                    (quarter, unit, phase, go_live, lapsed, series, events[series], cell_hours) for series in SERIES
                ]
    columns = ["quarter", "unit", "phase", "go_live_phase", "lapsed", "series", "events", "hours"]
    return pd.DataFrame(rows, columns=columns)


def quarters(missing: dict[str, str] | None = None, provisional: tuple[str, ...] = ("2026-Q2",)) -> Any:
    gaps = missing or {}
    return pd.DataFrame(
        [
            (
                quarter,
                *quarter_days(quarter),
                14 if quarter in gaps else 0,
                quarter not in gaps,
                quarter not in provisional,
                gaps.get(quarter, ""),
            )
            for quarter in QUARTERS
        ],
        columns=[
            "quarter",
            "quarter_start",
            "quarter_end",
            "hours_days_missing",
            "is_complete",
            "is_mature",
            "reason",
        ],
    )


def _unit_quarters(person: pd.DataFrame, gaps: dict[str, str]) -> pd.DataFrame:
    own = person[person["series"] == "handling"].groupby(["unit", "quarter"], as_index=False)["hours"].sum()
    own["is_complete"] = ~own["quarter"].isin(list(gaps))
    own["reason"] = [gaps.get(quarter, "") for quarter in own["quarter"]]
    return own


def _training_people() -> pd.DataFrame:
    rows = []
    for step, quarter in enumerate(QUARTERS):
        trained = sum(round(hours / 430 * 0.8) for *_, hours, start in UNITS if start and step > start)
        lapsed = sum(round(hours / 430 * 0.18) for *_, hours, start in UNITS if start and step >= start + 8)
        rows.append((quarter, 254 + step % 3, trained, lapsed))
    return pd.DataFrame(rows, columns=["quarter", "people_with_hours", "people_trained", "people_lapsed"])


def _frames_about_files() -> dict[str, pd.DataFrame]:
    accounting = pd.DataFrame(
        [
            ("incidents", "used", "used", 402, "Rows that went into the review."),
            ("incidents", "unreadable_date", "set_aside", 1, "The event date is not a date."),
            ("incidents", "near_miss", "excluded", 37, "Near misses are not injuries."),
            ("hours", "used", "used", 29_114, "Rows that went into the review."),
            ("hours", "pay_code_not_worked", "excluded", 6_021, "Leave and holiday are not hours worked."),
            ("hours", "negative_total", "set_aside", 2, "Corrections took more hours off than were there."),
            ("training", "used", "used", 611, "Rows that went into the review."),
            ("training", "not_qualifying", "excluded", 143, "The course does not count as safe handling."),
        ],
        columns=["file", "rule", "kind", "rows", "meaning"],
    )
    inputs = pd.DataFrame(
        [
            ("incidents", "incidents.csv", "a1" * 32, 440, 61_220),
            ("hours", "hours_2023_2024.csv", "b2" * 32, 20_100, 1_206_000),
            ("hours", "hours_2025_2026.csv", "c3" * 32, 15_037, 902_220),
            ("training", "training.csv", "d4" * 32, 754, 48_100),
        ],
        columns=["file", "name", "sha256", "rows", "bytes"],
    )
    findings = pd.DataFrame(
        [
            ("look", "unreadable_date", "incidents", 118, "event_date", "31/02/2024", 1, "", "Mend the date."),
            ("look", "days_over_cap", "incidents", 240, "days_away", "214", 1, "", "Check the day count."),
            ("look", "unknown_person", "training", 17, "employee_id", "x", 4, "", "Match the person's number."),
            ("look", "unknown_person", "training", 91, "employee_id", "y", 1, "", "Match the person's number."),
            ("note", "retake", "training", 300, "course", "", 12, "", "Nothing: the first pass counts."),
        ],
        columns=[
            "severity",
            "rule",
            "file",
            "line",
            "column",
            "found",
            "count",
            "message",
            "what_to_do",
        ],
    )
    reconciliation = pd.DataFrame(
        [
            (2024, "deaths", 0.0, 0.0, 0, True),
            (2024, "other_cases", 12.0, 11.0, 1, True),
            (2024, "hours", 431_000.0, 431_200.0, 0, True),
            (2026, "deaths", 0.0, 0.0, 0, False),
        ],
        columns=["year", "figure", "posted", "in_review", "set_aside", "is_whole_year"],
    )
    return {"accounting": accounting, "inputs": inputs, "findings": findings, "reconciliation": reconciliation}


BAND_OF_PHASE = {"before": "before", "washout": "days 1-29", "never": "none", "unknown": "none"}


def strata_of(person: pd.DataFrame) -> pd.DataFrame:
    """The strata of a person-time table: trained hours 90 days on, agency hours where the phase is unknown."""
    cells = ["quarter", "unit", "phase", "lapsed", "go_live_phase"]
    wide = person.pivot_table(index=cells, columns="series", values="events", aggfunc="sum", fill_value=0)
    hours = person[person["series"] == "handling"].groupby(cells)["hours"].sum()
    table = wide.assign(hours=hours).reset_index()
    late = table["lapsed"].astype(bool)
    table["band"] = [
        BAND_OF_PHASE.get(phase, "days 730 on" if is_late else "days 90-179")
        for phase, is_late in zip(table["phase"], late, strict=True)
    ]
    return table.assign(
        is_agency=table["phase"] == "unknown",
        is_remedial=False,
        first_handling=table["handling"],
        handling_not_respiratory=table["handling"],
        unclassified=0,
    )


def exposure() -> pd.DataFrame:
    """Patient days of two units on either side of their start."""
    rows = [
        (quarter, unit, "before" if step < start else "after", "patient_days", 3_400.0 + 10 * step)
        for unit, start in (("1N", 3), ("2N", 5))
        for step, quarter in enumerate(QUARTERS)
    ]
    return pd.DataFrame(rows, columns=["quarter", "unit", "go_live_phase", "measure", "quantity"])


def frames(*, ratio: float = 0.5, seed: int = 7, missing: dict[str, str] | None = None) -> dict[str, pd.DataFrame]:
    """The facility's result tables, each call its own copy."""
    found = _frames(ratio, seed, tuple((missing or {}).items()))
    return {name: frame.copy() for name, frame in found.items()}


@cache
def _frames(ratio: float, seed: int, missing: tuple[tuple[str, str], ...]) -> dict[str, pd.DataFrame]:
    person = person_time(ratio, seed)
    gaps = dict(missing)
    starts = {code: None if start is None else quarter_days(QUARTERS[start])[0] for code, *_, start in UNITS}
    return {
        "person_time": person,
        "quarters": quarters(gaps),
        "unit_quarters": _unit_quarters(person, gaps),
        "units": pd.DataFrame(
            [(code, name, care, starts[code], starts[code] is None) for code, name, care, *_ in UNITS],
            columns=["unit", "name", "care_type", "program_start", "comparison"],
        ),
        "unclassified": pd.DataFrame(
            [("2023-Q2", "1N", "before", 1), ("2024-Q1", "2N", "before", 1), ("2025-Q3", "3E", "after", 1)],
            columns=["quarter", "unit", "phase", "events"],
        ),
        "training_people": _training_people(),
        "training_summary": pd.DataFrame(
            [(231, 226, 226 / 231, 611, 605, 219, 28, 17)],
            columns=[
                "people_in_training",
                "people_matched",
                "match_share",
                "qualifying_completions",
                "classes",
                "first_completions",
                "people_never_trained",
                "people_unknown",
            ],
        ),
        "events_diary": pd.DataFrame(
            [
                (date(2024, 5, 13), "2N", "ceiling lifts in use"),
                (date(2025, 2, 3), "all", "new injury report form"),
            ],
            columns=["date", "unit", "what"],
        ),
        "reference_rates": pd.DataFrame(
            [
                ("6231", "private", "2023", "recordable", 6.5, 200_000, "made up for tests"),
                ("6231", "private", "2024", "recordable", 6.1, 200_000, "made up for tests"),
                ("62", "private", "2024", "days_away", 120.0, 20_000_000, "made up for tests"),
            ],
            columns=["naics", "ownership", "year", "case_type", "rate", "base_hours", "source"],
        ),
        **_frames_about_files(),
        "strata": strata_of(person),
        "exposure": exposure(),
        **watched(person),
    }


def tables(**options: Any) -> ResultTables:
    return ResultTables.from_dict(frames(**options))


def program(**analysis: Any) -> Program:
    return Program(
        path=Path("program.toml"),
        facility=Facility("Made-up Care Home", "623110", "Made-up data: no real facility, no real people."),
        review=Period(date(2023, 1, 1), date(2026, 6, 30), date(2026, 7, 20)),
        training=Training(qualifying_courses=("Safe handling, hands-on",), refresher_months=24),
        analysis=Analysis(**analysis),
        money=Money(
            year=2026, owner="made-up office", stated_on=date(2026, 7, 1), wage_per_hour=30.0, hours_per_completion=4.0,
            materials_per_completion=10.0, budget=30_000.0,
        ),
        proposals=(proposal("Lifts", "1N", 3, 6_000.0), proposal("Mats", "2 North", 4, 900.0)),
    )  # fmt: skip


def proposal(name: str, unit: str, quantity: int, unit_cost: float, **changes: Any) -> Proposal:
    values: dict[str, Any] = {
        "equipment": "ceiling_lift", "life_years": 10, "share_addressed": 0.5, "reduction_low": 0.1,
        "reduction_base": 0.3, "reduction_high": 0.5, "source": "made up", "owner": "made-up lead",
        "stated_on": date(2026, 7, 1), "yearly_service": 300.0,
    }  # fmt: skip
    return Proposal(name=name, unit=unit, quantity=quantity, unit_cost=unit_cost, **{**values, **changes})


def scope(settings: Program | None = None, **changes: Any) -> Scope:
    chosen = settings or program()
    values: dict[str, Any] = {
        "facility_name": chosen.facility.name,
        "facility_naics": chosen.facility.naics,
        "facility_note": chosen.facility.note,
        "start": date(2023, 1, 1),
        "end": date(2026, 6, 30),
        "as_of": date(2026, 7, 20),
        "log_complete_through": date(2026, 6, 30),
        "log_complete_stated": True,
        "hours_complete_through": date(2026, 6, 30),
        "hours_complete_stated": False,
        "settings_hash": chosen.settings_hash(),
        "run_id": "3f9c2a71",
        "versions": {"handling-review": "0.1.0", "duckdb": "2.0.1", "plotly": "7.1.0"},
        "settings": chosen.settings(),
    }
    return Scope(**{**values, **changes})


def drawn(table: str, *, gaps: dict[str, str] | None = None, **replaced: pd.DataFrame) -> ResultTables:
    """Result tables from a small drawn one, a row per quarter, unit and phase.

    Columns that are not drawn: lapsed is no, go_live_phase is none, recordable is handling + non_handling, and
    all other series are 0. ``gaps`` names incomplete quarters with their reason.
    """
    head, *lines = [line.split() for line in table.strip().splitlines()]
    rows = []
    for line in lines:
        cell = dict(zip(head, line, strict=True))
        events = {series: int(cell.get(series, "0")) for series in SERIES}
        events["recordable"] = int(cell.get("recordable", events["handling"] + events["non_handling"]))
        rows += [
            (
                cell["quarter"],
                cell.get("unit", "A"),
                cell["phase"],
                cell.get("go_live_phase", "none"),
                cell.get("lapsed", "no") == "yes",
                series,
                events[series],
                float(cell["hours"]),
            )
            for series in SERIES
        ]
    columns = ["quarter", "unit", "phase", "go_live_phase", "lapsed", "series", "events", "hours"]
    person = pd.DataFrame(rows, columns=columns)
    names = sorted(set(person["quarter"]))
    units = sorted(set(person["unit"]))
    reasons = gaps or {}
    base = frames()
    base |= {
        "person_time": person,
        "quarters": pd.DataFrame(
            [(q, *quarter_days(q), 0, q not in reasons, True, reasons.get(q, "")) for q in names],
            columns=base["quarters"].columns,
        ),
        "unit_quarters": _unit_quarters(person, reasons),
        "units": pd.DataFrame(
            [(unit, f"Unit {unit}", "", None, False) for unit in units], columns=base["units"].columns
        ),
        "unclassified": base["unclassified"].iloc[:0],
        "training_people": base["training_people"].iloc[:0],
        "events_diary": base["events_diary"].iloc[:0],
        "strata": strata_of(person),
        "exposure": base["exposure"].iloc[:0],
        **watched(person),
    }
    return ResultTables.from_dict(base | replaced)


_BUILT: dict[str, Review] = {}


def review(**options: Any) -> Review:
    """The made-up facility's review; built once for each set of options, as nothing can change it."""
    key = repr(sorted(options.items()))
    if key not in _BUILT:
        settings = program()
        _BUILT[key] = assemble(tables(**options), scope(settings), settings)
    return _BUILT[key]
