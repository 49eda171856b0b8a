"""Made-up facilities in every empty and extreme state, as CSV files and a program file, each from its own seed.

Rates are per 200,000 hours. Everybody works full time on one unit, one hours row a month; staff of a unit with a start
are trained in the three weeks from it on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

COURSE = "Safe handling"
TREES = ("Alder", "Birch", "Cedar", "Dogwood", "Elm", "Fir")
HEADS = {
    "incidents": "case_number,employee_id,event_date,reported_date,unit,outcome,days_away,days_restricted,activity,"
    "body_part,nature,claim_cost,cost_as_of",
    "hours": "employee_id,unit,period_start,period_end,hours",
    "training": "employee_id,course,completed_on,status",
    "units": "unit,name,program_start,comparison",
}
MONEY = """\
[money]
currency = "USD"
year = 2025
owner = "Finance office"
stated_on = 2025-12-01
cost_low = 4000
cost_base = 9000
cost_high = 20000
wage_per_hour = 31.0
hours_per_completion = 4.0
materials_per_completion = 12.0
other_costs = 9000
budget = 45000
"""
PROPOSAL = """\
[[money.proposals]]
name = "Ceiling lifts, {unit}"
unit = "{unit}"
equipment = "ceiling_lift"
quantity = 3
unit_cost = 7200
yearly_service = 1100
life_years = 10
share_addressed = 0.5
reduction_low = 0.15
reduction_base = 0.35
reduction_high = 0.55
source = "made up"
owner = "Therapy lead"
stated_on = 2025-12-01
"""


@dataclass(frozen=True)
class Unit:
    """One unit: its staff, its rates before and after training, and the day of its first class."""

    name: str
    people: int = 12
    start: date | None = None
    comparison: bool = False
    before: float = 45.0
    after: float = 25.0


@dataclass(frozen=True)
class State:
    """One facility. ``gone`` leaves out hours rows by unit and month; ``outcomes`` are drawn with equal chance.

    ``other_course`` is completed by everybody and does not qualify.
    """

    seed: int
    units: tuple[Unit, ...]
    first: date = date(2023, 1, 1)
    last: date = date(2025, 12, 31)
    hours_a_month: float = 160.0
    has_ids: bool = True
    has_unit_file: bool = True
    course: str = COURSE
    other_course: str = ""
    outcomes: tuple[str, ...] = ("days_away", "restricted_or_transfer", "other_recordable", "first_aid")
    most_cases: int | None = None
    program: str = ""
    gone: Callable[[str, date], bool] = field(default=lambda unit, month: False)
    idle: Callable[[str, date], bool] = field(default=lambda unit, month: False)
    files: tuple[tuple[str, str], ...] = ()


def several(count: int = 4, first: date = date(2024, 1, 15), apart_days: int = 90, **given: float) -> tuple[Unit, ...]:
    """Units that start one after another."""
    return tuple(
        replace(Unit(TREES[i], start=first + timedelta(days=apart_days * i)), **given)  # type: ignore[arg-type]
        for i in range(count)
    )


def months(first: date, last: date) -> Iterator[tuple[date, date]]:
    """First and last day of each month from ``first`` to ``last``."""
    start = first
    while start <= last:
        end = date(start.year + start.month // 12, start.month % 12 + 1, 1) - timedelta(days=1)
        yield start, min(end, last)
        start = end + timedelta(days=1)


def write(state: State, folder: Path) -> Path:
    """Write the facility into ``folder``; returns the program file."""
    folder.mkdir(parents=True, exist_ok=True)
    dice = np.random.default_rng(state.seed)
    trained = _training_days(state, dice)
    rows = {"hours": list(_hours(state)), "incidents": _cases(state, trained, dice), "units": _unit_rows(state)}
    rows["training"] = [f"{person},{state.course},{day},completed" for (person, _), day in trained.items() if day]
    if state.other_course:
        rows["training"] += [f"{person},{state.other_course},{state.first},completed" for person, _ in trained]
    named = [name for name in HEADS if name != "units" or state.has_unit_file]
    for name in named:
        (folder / f"{name}.csv").write_text("\n".join([HEADS[name], *rows[name]]) + "\n", encoding="utf-8")
    for name, text in state.files:
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    listed = "\n".join(f'{name} = "{name}.csv"' for name in (*named, *(name for name, _ in state.files)))
    as_of = state.last + timedelta(days=100)
    (folder / "program.toml").write_text(
        f'[facility]\nname = "Made-up Care Home"\n[review]\nstart = {state.first}\nend = {state.last}\n'
        f"as_of = {as_of}\nlog_complete_through = {state.last}\nhours_complete_through = {state.last}\n"
        f'[files]\n{listed}\n[training]\nqualifying_courses = ["{COURSE}"]\n{state.program}',
        encoding="utf-8",
    )
    return folder / "program.toml"


def _training_days(state: State, dice: np.random.Generator) -> dict[tuple[str, Unit], date | None]:
    """Each person with the unit and the day of training, if any."""
    found: dict[tuple[str, Unit], date | None] = {}
    for unit in state.units:
        for _ in range(unit.people):
            day = unit.start + timedelta(days=int(dice.integers(21))) if unit.start else None
            found[(f"{1001 + 7 * len(found)}", unit)] = day if day and day <= state.last else None
    return found


def _hours(state: State) -> Iterator[str]:
    for start, end in months(state.first, state.last):
        person = 0
        for unit in state.units:
            hours = 0 if state.idle(unit.name, start) else state.hours_a_month
            is_gone = state.gone(unit.name, start)
            if not state.has_ids and not is_gone:
                yield f',"{unit.name}",{start},{end},{unit.people * hours}'
            for number in range(unit.people if state.has_ids and not is_gone else 0):
                yield f'{1001 + 7 * (person + number)},"{unit.name}",{start},{end},{hours}'
            person += unit.people


def _cases(state: State, trained: dict[tuple[str, Unit], date | None], dice: np.random.Generator) -> list[str]:
    """Cases drawn by person and month from the rate before or after training, on a day drawn at random."""
    found: list[tuple[date, str]] = []
    for start, end in months(state.first, state.last):
        for (person, unit), day in trained.items():
            if state.idle(unit.name, start):
                continue
            rate = unit.before if day is None or start < day else unit.after
            for _ in range(dice.poisson(rate * state.hours_a_month / 200_000)):
                on = start + timedelta(days=int(dice.integers((end - start).days + 1)))
                found.append((on, _case(state, person, unit, on, dice)))
    kept = sorted(found)[: state.most_cases]
    return [f"{on.year}-{number:04d},{rest}" for number, (on, rest) in enumerate(kept, start=1)]


def _case(state: State, person: str, unit: Unit, on: date, dice: np.random.Generator) -> str:
    """The rest of a log row after its case number."""
    outcome = str(dice.choice(state.outcomes))
    away = int(dice.integers(1, 40)) if outcome == "days_away" else 0
    restricted = int(dice.integers(1, 60)) if outcome == "restricted_or_transfer" else 0
    activity = dice.choice(("reposition_in_bed", "stand_pivot", "lateral_transfer", "toileting", "not_handling"))
    part, nature = dice.choice(("low back", "shoulder", "hand")), dice.choice(("sprain_strain", "soreness_pain"))
    reported = on + timedelta(days=int(dice.integers(6)))
    name = person if state.has_ids else ""
    cost = f"{int(dice.integers(800, 20_000))},{state.last}" if outcome == "days_away" else ","
    return f'{name},{on},{reported},"{unit.name}",{outcome},{away},{restricted},{activity},{part},{nature},{cost}'


def _unit_rows(state: State) -> list[str]:
    return [
        f'"{unit.name}","{unit.name}",{unit.start or ""},{"yes" if unit.comparison else "no"}' for unit in state.units
    ]


def _sixty() -> tuple[Unit, ...]:
    """Sixty units of 3 to 30 people; every fifth for comparison, one with three times the rate."""
    return tuple(
        Unit(
            f"{TREES[i % 6]} ward {i // 6 + 1:02d}",
            people=3 + (7 * i) % 28,
            start=None if i % 5 == 4 else date(2024, 6, 3) + timedelta(days=7 * i),
            comparison=i % 5 == 4,
            before=60.0 if i == 7 else 20.0,
            after=60.0 if i == 7 else 11.0,
        )
        for i in range(60)
    )


LONG = (
    "Center for Long-Term Rehabilitation, Complex Medical Care and Memory Support, East Building, Third Floor",
    "Center for Long-Term Rehabilitation, Complex Medical Care and Memory Support, West Building, Third Floor",
    "Short stay",
    "Donaudampfschifffahrtselektrizitaetenhauptbetriebswerkbauunterbeamtengesellschaftshaus",
)


def _named(names: tuple[str, ...]) -> tuple[Unit, ...]:
    return tuple(replace(unit, name=name) for unit, name in zip(several(len(names)), names, strict=True))


def _middle_month(unit: str, month: date) -> bool:
    return month.month % 3 == 2


def _closed_in_spring(unit: str, month: date) -> bool:
    return month.year == 2024 and 4 <= month.month <= 6


ONE_DAY = tuple(replace(unit, start=date(2024, 6, 3)) for unit in several())
COMPARISON = tuple(replace(unit, start=None, comparison=True) for unit in several())
UNTRAINED = tuple(replace(unit, start=None) for unit in several())
QUIET = ("first_aid", "near_miss")
BARE = replace(State(13, ONE_DAY), has_unit_file=False)

STATES: dict[str, State] = {
    "log_without_rows": State(1, several(), most_cases=0),
    "first_aid_only": State(2, several(), outcomes=QUIET),
    "one_case": State(3, several(), outcomes=("days_away",), most_cases=1),
    "one_unit": State(4, several(1, people=40)),
    "sixty_units": State(5, _sixty(), first=date(2024, 1, 1)),
    "one_quarter": State(6, several(first=date(2025, 10, 20), apart_days=9), first=date(2025, 10, 1)),
    "ten_years": State(7, several(first=date(2019, 3, 4), people=15), first=date(2016, 1, 1)),
    "training_without_rows": State(8, UNTRAINED),
    "no_course_counts": State(9, UNTRAINED, other_course="Fire drill"),
    "three_files": BARE,
    "harmful": State(10, several(people=30, before=14.0, after=60.0)),
    "tiny": State(11, several(3, people=3, before=35.0, after=20.0), last=date(2024, 12, 31)),
    "nothing_complete": State(12, several(), gone=_middle_month),
    "unit_totals_only": State(14, several(), has_ids=False),
    "one_day": State(15, ONE_DAY),
    "comparison_only": State(16, COMPARISON, other_course="Fire drill"),
    "no_hours_in_spring": State(17, several(), idle=_closed_in_spring),
    "money_stated": State(18, several(), program=MONEY + "".join(PROPOSAL.format(unit=u) for u in TREES[:3])),
    "long_names": State(19, _named(LONG), program=MONEY + PROPOSAL.format(unit=LONG[0])),
}
