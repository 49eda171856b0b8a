"""True injury intensities, what they sum to over the hours worked, and the injuries drawn from them.

Hours of a pay period are spread evenly over its days. Given hours and training dates, the injuries of one series are
independent Poisson counts in every person-day. They are drawn as a Poisson total that is shared out in proportion
to the intensities, which is the same thing (Kingman, Poisson Processes, 1993, section 2.4).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from handling_review.simulate.people import BLOCK, People, PersonPeriods, agency_hours
from handling_review.simulate.plan import (
    AFTER,
    BASE_HOURS,
    BEFORE,
    FAR,
    NEVER,
    PHASES,
    UNKNOWN,
    WASHOUT,
    Plan,
)
from handling_review.simulate.training import Classes

SERIES = ("handling", "non_handling", "handling_first_aid", "other_first_aid", "near_miss")
HANDLING_SERIES = ("handling", "handling_first_aid")  # the series that training acts on
NEW_DAYS = 365  # how long training counts as recent


@dataclass(frozen=True)
class Injuries:
    """Injuries in order of day. All arrays of shape (events,); ``person`` is -1 for agency staff."""

    series: np.ndarray
    person: np.ndarray
    unit: np.ndarray
    job: np.ndarray
    day: np.ndarray
    phase: np.ndarray


@dataclass(frozen=True)
class Exposure:
    """Sums over the days of the review.

    ``hours``: shape (units, phases, quarters of the calendar). ``expected``: the same with series first.
    ``quarters``: first day of each calendar quarter touched.
    """

    hours: np.ndarray
    expected: np.ndarray
    quarters: tuple[date, ...]


@dataclass(frozen=True)
class _Cells:
    """Person-days of one block, flattened: shape (cells,)."""

    person: np.ndarray
    unit: np.ndarray
    job: np.ndarray
    day: np.ndarray
    hours: np.ndarray
    phase: np.ndarray
    effect: np.ndarray


def calendar_quarters(start: date, end: date) -> tuple[date, ...]:
    """First days of the calendar quarters from ``start`` to ``end``."""
    found = [date(start.year, 3 * ((start.month - 1) // 3) + 1, 1)]
    while (following := date.fromordinal(found[-1].toordinal() + 92).replace(day=1)) <= end:
        found.append(following)
    return tuple(found)


def phase_and_effect(
    plan: Plan, day: np.ndarray, completed: np.ndarray, refreshed: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Phase and true handling multiple of each person-day.

    ``day`` and ``completed``: shape (rows, days) and (rows, 1); ``refreshed``: (rows, refreshers). The completion day
    opens the washout, which lasts ``max(washout_days, 1)`` days; the day after it is the trained-from day.
    """
    trained_from = completed + max(plan.washout_days, 1)
    phase = np.where(day < completed, BEFORE, np.where(day < trained_from, WASHOUT, AFTER))
    phase = np.where(completed >= FAR, NEVER, phase)
    recent = day < trained_from + NEW_DAYS
    for place in range(refreshed.shape[1]):
        on = refreshed[:, place, None]
        if (on < FAR).any():
            recent |= (day >= on) & (day < on + NEW_DAYS)
    after = np.where(recent, plan.ratios.first_year, plan.ratios.later)
    return phase, np.select((phase == WASHOUT, phase == AFTER), (plan.ratios.washout, after), 1.0)


def _own_cells(plan: Plan, staff: People, rows: PersonPeriods, done: Classes, worked: np.ndarray, block: int) -> _Cells:
    part = slice(block * BLOCK, (block + 1) * BLOCK)
    stint = rows.stint[part]
    person = staff.person[stint]
    day = rows.period[part, None] * plan.period_days + np.arange(plan.period_days)[None, :]
    phase, effect = phase_and_effect(plan, day, done.completed[person, None], done.refreshed[person])
    wide = plan.period_days
    return _Cells(
        person=np.repeat(person, wide),
        unit=np.repeat(staff.unit[stint], wide),
        job=np.repeat(staff.job[stint], wide),
        day=day.ravel(),
        hours=np.repeat(worked[part] / 100 / wide, wide),
        phase=phase.ravel(),
        effect=effect.ravel(),
    )


def _agency_cells(plan: Plan) -> _Cells:
    per_day = np.repeat(agency_hours(plan) / 100 / plan.period_days, plan.period_days, axis=1)
    units, days = per_day.shape
    n = units * days
    return _Cells(
        person=np.full(n, -1),
        unit=np.repeat(np.arange(units), days),
        job=np.zeros(n, dtype=int),  # agency staff work as nurse aides
        day=np.tile(np.arange(days), units),
        hours=per_day.ravel(),
        phase=np.full(n, UNKNOWN),
        effect=np.ones(n),
    )


def injuries(
    plan: Plan, staff: People, rows: PersonPeriods, done: Classes, worked: np.ndarray
) -> tuple[Exposure, Injuries]:
    """Sum the true intensities and draw the injuries. ``worked``: hundredths of an hour by person-period."""
    quarters = calendar_quarters(plan.start, plan.end)
    first_days = np.array([plan.day(q) for q in quarters])
    shape = (len(plan.units), len(PHASES), len(quarters))
    hours = np.zeros(int(np.prod(shape)))
    weighted = np.zeros((2, len(hours)))  # hours times multiples: handling, other
    per_hour = np.array([getattr(plan.rates, name) for name in SERIES]) / BASE_HOURS
    acts = np.array([name in HANDLING_SERIES for name in SERIES])
    drawn: list[np.ndarray] = []
    for block in range(-1, rows.blocks):
        cells = _agency_cells(plan) if block < 0 else _own_cells(plan, staff, rows, done, worked, block)
        inside = (cells.day >= plan.day(plan.start)) & (cells.day <= plan.day(plan.end))
        time = cells.hours * inside
        fall = (1 + plan.trend) ** ((cells.day - plan.day(plan.start)) / 365.25)
        other = time * fall * plan.levels[cells.unit, cells.job]
        handling = other * cells.effect
        quarter = np.searchsorted(first_days, cells.day, side="right").clip(1) - 1
        place = (cells.unit * shape[1] + cells.phase) * shape[2] + quarter
        hours += np.bincount(place, time, len(hours))
        weighted[0] += np.bincount(place, handling, len(hours))
        weighted[1] += np.bincount(place, other, len(hours))
        drawn.append(_draw(plan, block, cells, handling, other, per_hour, acts))
    expected = per_hour[:, None] * weighted[np.where(acts, 0, 1)]
    exposure = Exposure(hours.reshape(shape), expected.reshape(len(SERIES), *shape), quarters)
    found = np.concatenate(drawn, axis=1)
    return exposure, Injuries(*found[:, np.lexsort(found[[2, 1, 0, 4]])])


def _draw(
    plan: Plan,
    block: int,
    cells: _Cells,
    handling: np.ndarray,
    other: np.ndarray,
    per_hour: np.ndarray,
    acts: np.ndarray,
) -> np.ndarray:
    """Injuries of one block: rows series, person, unit, job, day, phase; one column an injury."""
    random = plan.generator("injuries", block + 1)
    sums = {True: np.cumsum(handling), False: np.cumsum(other)}
    found = []
    for series, rate in enumerate(per_hour):
        running = sums[bool(acts[series])]
        number = random.poisson(rate * running[-1])
        at = np.searchsorted(running, random.random(number) * running[-1], side="right")
        at = np.minimum(at, len(running) - 1)
        rows = (cells.person[at], cells.unit[at], cells.job[at], cells.day[at], cells.phase[at])
        found.append(np.stack([np.full(number, series), *rows]))
    return np.concatenate(found, axis=1)


def quarter_label(first_day: date) -> str:
    """``2025-Q3`` for 2025-07-01."""
    return f"{first_day.year}-Q{(first_day.month - 1) // 3 + 1}"


def quarter_end(first_day: date) -> date:
    """Last day of the quarter."""
    return date.fromordinal(first_day.toordinal() + 92).replace(day=1) - timedelta(days=1)
