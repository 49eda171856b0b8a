"""Made-up facilities with a known truth, in memory, for the study of the designs in ``designs.py``.

A facility: eight units of 14 to 30 posts, 14 quarters, people who leave and are hired, go-live of each unit at a
quarter, people trained in the weeks after it, people hired later trained some weeks after they come, a few never. Cases
that would occur with no program are drawn first, each at a moment; the program then takes some of them away. So the
go-live order can follow the cases of the first year, and the true ratio is known: expected cases with the program over
expected cases without it, on the hours that a design calls "with".
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from handling_review.evidence.panel import NOT_STARTED, STARTED, STARTING, Array, Panel, Personal

QUARTERS, UNITS = 14, 8
FIRST_START, COMMON_START = 4, 6  # quarters before the first start; before the one of all units that start together
WASHOUT = 30 / 91.3125  # quarters
HOURS_A_QUARTER = 420.0  # of a full post
HANDLING, OTHER = 9.0 / 200_000, 7.0 / 200_000  # cases per hour before any program
NEVER_TRAINED, TURNOVER = 0.08, 0.06  # share of people; share of posts a quarter


@dataclass(frozen=True)
class Scenario:
    """What is so in all facilities of one scenario."""

    name: str
    effect: float = 1.0  # ratio of the handling rate after a person's training
    yearly_change: float = 0.0  # share by which all rates change in a year, program or not
    staggered: bool = True
    comparison_units: int = 0
    worst_first: bool = False
    new_hire_risk: float = 1.5  # in the first half year; 3.5 is published (Gardner 1999)
    turnover: float = TURNOVER
    transfers: float = 0.0  # share of people who change units in a quarter
    unit_shape: float = 8.0  # gamma shape of the units' own rates: the smaller, the more they differ
    frailty_shape: float = math.inf  # gamma shape of unit quarters: more spread than chance
    reported: float = 1.0  # share of all injuries still reported after a unit's start
    decay_quarters: float = math.inf  # quarters in which the effect wears off
    shock: float = 1.0  # ratio of all rates in the quarter before the first start
    drop: float = 1.0  # ratio of all rates from the common start on, in every unit, program or not
    handling_change: float = 0.0  # share by which handling injuries alone change in a year, beyond ``yearly_change``
    size: int = 1  # times the posts of the usual facility


SCENARIOS = (
    Scenario("no effect, falling 10 % a year, staggered, comparison units", yearly_change=-0.10, comparison_units=2),
    Scenario("no effect, falling 10 % a year, staggered", yearly_change=-0.10),
    Scenario("no effect, falling 10 % a year, all start together", yearly_change=-0.10, staggered=False),
    Scenario("no effect, falling 4 % a year, staggered", yearly_change=-0.04),
    Scenario("halved, falling 4 % a year, staggered, comparison units", 0.5, -0.04, comparison_units=2),
    Scenario("halved, falling 4 % a year, staggered", 0.5, -0.04),
    Scenario("halved, all start together, comparison units", 0.5, staggered=False, comparison_units=2),
    Scenario("no effect, worst units first", worst_first=True),
    Scenario("no effect, turnover and transfers, new staff hurt 3 times as often", new_hire_risk=3.0, turnover=0.12,
             transfers=0.04),
    Scenario("no effect, units differ, more spread than chance", unit_shape=3.0, frailty_shape=3.0),
    Scenario("no effect, a third of injuries no longer reported from the start on", reported=2 / 3),
    Scenario("halved at first, wearing off over two years", 0.5, decay_quarters=8.0),
    Scenario("no effect, one bad quarter before the first start", shock=2.0),
    Scenario("no effect, falling 10 % a year, staggered, four times the staff", yearly_change=-0.10, size=4),
    Scenario("halved, falling 4 % a year, staggered, four times the staff", 0.5, -0.04, size=4),
    Scenario("halved, all start together, comparison units, four times the staff", 0.5, staggered=False,
             comparison_units=2, size=4),
    Scenario("no effect, worst units first, four times the staff", worst_first=True, size=4),
    Scenario("no effect, turnover and transfers, new staff hurt 3 times as often, four times the staff",
             new_hire_risk=3.0, turnover=0.12, transfers=0.04, size=4),
    Scenario("no effect, handling alone falling 10 % a year, staggered, four times the staff", handling_change=-0.10,
             size=4),
    Scenario("no effect, all rates drop by a third as all start together", drop=2 / 3, staggered=False),
    Scenario("no effect, all rates drop by a third as all start together, four times the staff", drop=2 / 3,
             staggered=False, size=4),
    Scenario("no effect, all rates drop by a third as all start together, comparison units", drop=2 / 3,
             staggered=False, comparison_units=2),
    Scenario("no effect, all rates drop by a third as all start together, comparison units, four times the staff",
             drop=2 / 3, staggered=False, comparison_units=2, size=4),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Staff:
    """Who sits on which post in which quarter; arrays of shape (quarters, posts)."""

    unit: Any
    person: Any
    hours: Array
    is_new: Any  # in the first two quarters


def staff(dice: np.random.Generator, scenario: Scenario, posts: Any) -> Staff:
    """People over the quarters; ``posts`` is the unit of each post. As many are new in the first quarter as later."""
    n, shape = posts.size, (QUARTERS, posts.size)
    part = np.broadcast_to(dice.uniform(0.5, 1.2, n) * HOURS_A_QUARTER, shape)
    hired = -np.minimum(dice.geometric(scenario.turnover, n) - 1.0, 9.0)
    seat, known = np.arange(n), n
    person, is_new = np.zeros(shape, dtype=np.intp), np.zeros(shape, dtype=bool)
    for quarter in range(QUARTERS):
        if quarter:
            leave = dice.random(n) < scenario.turnover
            count = int(leave.sum())
            seat = seat.copy()
            seat[leave] = np.arange(known, known + count)
            known += count
            hired = np.append(hired, np.full(count, float(quarter)))
            moving = np.flatnonzero(dice.random(n) < scenario.transfers)
            seat[moving] = seat[dice.permutation(moving)]
        person[quarter] = seat
        is_new[quarter] = quarter - hired[seat] < 2
    return Staff(np.broadcast_to(posts, shape), person, part, is_new)


def training(dice: np.random.Generator, people: Staff, begins: Array) -> Array:
    """When each post's holder is trained, in quarters since the beginning; ``inf``: never while employed."""
    known = int(people.person.max()) + 1
    trained_at: Array = np.full(known, np.inf)
    never = dice.random(known) < NEVER_TRAINED
    for quarter in range(QUARTERS):
        seat, start = people.person[quarter], begins[people.unit[quarter]]
        due = np.isinf(trained_at[seat]) & ~never[seat] & (start < quarter + 1)
        # at the start within some six weeks of it; hired later: some two to five weeks after they come
        at = np.where(
            start >= quarter, start + dice.uniform(0, 0.5, seat.size), quarter + dice.uniform(0.1, 0.4, seat.size)
        )
        trained_at[seat[due]] = at[due]
    by_post: Array = trained_at[people.person]
    return by_post


def begins_of(dice: np.random.Generator, scenario: Scenario, first_year: Array) -> Array:
    """Go-live of each unit in quarters; ``inf`` for comparison units. ``first_year``: rate of each unit."""
    order = np.argsort(-first_year) if scenario.worst_first else dice.permutation(UNITS)
    begins = np.full(UNITS, np.inf)
    program = [unit for unit in order if unit < UNITS - scenario.comparison_units]
    for place, unit in enumerate(program):
        begins[unit] = (FIRST_START + place if scenario.staggered else COMMON_START) + dice.uniform(0.02, 0.25)
    return begins


def facility(scenario: Scenario, seed: int) -> tuple[Panel, Personal, dict[str, float]]:
    """One facility's arrays, and the true ratio by the person's and by the unit's reckoning."""
    dice = np.random.default_rng(seed)
    posts = np.repeat(np.arange(UNITS), scenario.size * dice.integers(14, 31, UNITS))
    own = dice.gamma(scenario.unit_shape, 1 / scenario.unit_shape, UNITS)
    change = (1 + scenario.yearly_change) ** ((np.arange(QUARTERS) + 0.5) / 4)
    change[FIRST_START - 1] *= scenario.shock
    change[COMMON_START:] *= scenario.drop
    level = change[:, None] * own[None, :]
    if math.isfinite(scenario.frailty_shape):
        level = level * dice.gamma(scenario.frailty_shape, 1 / scenario.frailty_shape, level.shape)
    people = staff(dice, scenario, posts)
    base = level[:, posts] * np.where(people.is_new, scenario.new_hire_risk, 1.0) * people.hours
    alone = (1 + scenario.handling_change) ** ((np.arange(QUARTERS)[:, None] + 0.5) / 4)
    other, base = dice.poisson(base * OTHER), base * alone
    handling = dice.poisson(base * HANDLING)
    early_cases, early_hours = (
        np.bincount(posts, amount[:FIRST_START].sum(axis=0), UNITS) for amount in (handling, people.hours)
    )
    begins = begins_of(dice, scenario, early_cases / early_hours)
    trained_at = training(dice, people, begins)
    return assembled(dice, scenario, people, trained_at, begins, handling, other, base)


def assembled(
    dice: np.random.Generator,
    scenario: Scenario,
    people: Staff,
    trained: Array,
    begins: Array,
    handling: Any,
    other: Any,
    base: Array,
) -> tuple[Panel, Personal, dict[str, float]]:
    """Hours and cases by unit, quarter, side of the start and phase of training."""
    start = begins[people.unit]
    time = np.broadcast_to(np.arange(QUARTERS, dtype=float)[:, None], trained.shape)
    sides = ((time, np.minimum(time + 1, start)), (np.maximum(time, start), time + 1))
    phases = (
        (np.full_like(trained, -np.inf), trained), (trained, trained + WASHOUT),
        (trained + WASHOUT, np.full_like(trained, np.inf)),
    )  # fmt: skip
    cell = people.unit * QUARTERS + time.astype(int)
    shape = (2, 3, 2, UNITS * QUARTERS)  # side, phase, trained at last, cell
    hours, expected, with_program = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    ever = np.isfinite(trained).astype(int)
    for side, (since, until) in enumerate(sides):
        for phase, (low, high) in enumerate(phases):
            span = np.clip(np.minimum(until, high) - np.maximum(since, low), 0, None)
            passed = np.full_like(trained, -1.0)
            if phase:
                real = np.isfinite(trained)
                middle = (np.minimum(until, high) + np.maximum(since, low))[real] / 2
                passed[real] = middle - trained[real]
            kept = remains(scenario, passed)
            for flag in (0, 1):
                mask = ever == flag
                for table, amount in (
                    (hours, people.hours * span), (expected, base * span), (with_program, base * span * kept),
                ):  # fmt: skip
                    table[side, phase, flag] += np.bincount(cell[mask], amount[mask], UNITS * QUARTERS)
    cases = tuple(
        counted(dice, scenario, events, start, trained, cell, is_handling=is_handling)
        for events, is_handling in ((handling, True), (other, False))
    )
    panel = _panel(hours, cases[0], begins)
    personal = _personal(hours, *cases)
    by_unit = _panel_truth(expected, with_program, begins)
    by_person = _ratio_of(with_program[:, 2], expected[:, 2])
    return panel, personal, {"person": by_person, "unit": by_unit}


def remains(scenario: Scenario, since_training: Array) -> Array:
    """Share of handling cases that still occur, by quarters since training (below 0: untrained)."""
    worn = np.zeros_like(since_training)
    if math.isfinite(scenario.decay_quarters):
        worn = np.clip(since_training / scenario.decay_quarters, 0, 1)
    return np.where(since_training >= 0, scenario.effect + (1 - scenario.effect) * worn, 1.0)


def counted(
    dice: np.random.Generator,
    scenario: Scenario,
    events: Any,
    start: Array,
    trained: Array,
    cell: Any,
    *,
    is_handling: bool,
) -> Array:
    """The cases that occur and are reported, shape as the hours."""
    where = np.repeat(np.flatnonzero(events), events[events > 0])
    moment = where // events.shape[1] + dice.random(where.size)
    trained, start = trained.ravel()[where], start.ravel()[where]
    side = (moment >= start).astype(int)
    phase = (moment >= trained).astype(int) + (moment >= trained + WASHOUT).astype(int)
    occurs = remains(scenario, moment - trained) if is_handling else np.ones(where.size)
    kept = occurs * np.where(side == 1, scenario.reported, 1.0)
    real = dice.random(where.size) < kept
    table = np.zeros((2, 3, 2, UNITS * QUARTERS))
    at = (side[real], phase[real], np.isfinite(trained[real]).astype(int), cell.ravel()[where[real]])
    np.add.at(table, at, 1.0)
    return table


def _states(begins: Array) -> Any:
    """State of the part of each unit quarter after the unit's start, shape (cells,)."""
    quarter = np.tile(np.arange(QUARTERS), UNITS)
    start = np.repeat(np.floor(begins), QUARTERS)
    return np.where(quarter > start, STARTED, STARTING)


def _panel(hours: Array, cases: Array, begins: Array) -> Panel:
    unit, quarter = np.repeat(np.arange(UNITS), QUARTERS), np.tile(np.arange(QUARTERS), UNITS)
    time, events = hours.sum(axis=(1, 2)), cases.sum(axis=(1, 2))
    state = np.concatenate([np.full(unit.size, NOT_STARTED), _states(begins)])
    flat_hours, flat_events = time.ravel(), events.ravel()
    kept = flat_hours > 0
    units, quarters = np.tile(unit, 2)[kept], np.tile(quarter, 2)[kept]
    return Panel(units, quarters, state[kept], np.isinf(begins)[units], flat_hours[kept], flat_events[kept])


def _personal(hours: Array, cases: Array, other: Array) -> Personal:
    trained = hours[:, :, 1].sum(axis=0)
    before, after = trained[0], trained[2]
    middles = (np.tile(np.arange(QUARTERS), UNITS) + 0.5) / 4
    apart = math.nan
    if before.sum() and after.sum():
        apart = float((after @ middles) / after.sum() - (before @ middles) / before.sum())
    y, z = cases[:, :, 1].sum(axis=0), other[:, :, 1].sum(axis=0)
    return Personal(y[2], after, y[0], before, z[2], z[0], apart)


def _panel_truth(expected: Array, with_program: Array, begins: Array) -> float:
    started = _states(begins) == STARTED
    return _ratio_of(with_program[1][:, :, started], expected[1][:, :, started])


def _ratio_of(with_program: Array, without: Array) -> float:
    return float(with_program.sum() / without.sum()) if without.sum() else math.nan
