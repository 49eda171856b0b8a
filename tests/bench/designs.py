"""How do the designs do when the truth is known? ``python tests/bench/designs.py``

Made-up facilities in which the program does what the scenario says, and every design of the ladder asked about each.
Writes DESIGNS.md beside this file and the figures that the review prints to reports/design_study.csv.

A facility: eight units of 14 to 30 posts, 14 quarters, people who leave and are hired, go-live of each unit at a
quarter, people trained in the weeks after it, people hired later trained some weeks after they come, a few never. Cases
that would occur with no program are drawn first, each at a moment; the program then takes some of them away. So the
go-live order can follow the cases of the first year, and the true ratio is known: expected cases with the program over
expected cases without it, on the hours that a design calls "with".
"""

from __future__ import annotations

import argparse
import csv
import math
import multiprocessing
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from handling_review.evidence import designs
from handling_review.evidence.ladder import verdict_of
from handling_review.evidence.panel import (
    BEFORE_AFTER,
    LADDER,
    NOT_STARTED,
    STARTED,
    STARTING,
    Array,
    Designed,
    Panel,
    Personal,
)
from handling_review.stats import proportions

HERE = Path(__file__).parent
SHIPPED = HERE.parents[1] / "reports" / "design_study.csv"
QUARTERS, UNITS = 14, 8
WASHOUT = 30 / 91.3125  # quarters
HOURS_A_QUARTER = 420.0  # of an average post
HANDLING, OTHER = 9.0 / 200_000, 7.0 / 200_000  # cases per hour before any program
NEVER_TRAINED, TURNOVER = 0.08, 0.06  # share of people; share of posts a quarter
CHOSEN, PLAIN = "chosen", "plain"
ROWS = (*LADDER, CHOSEN, PLAIN)


INTRO = """# The designs held against a known truth

Written by `python tests/bench/designs.py` (about six minutes on two cores); the same figures are shipped as
`reports/design_study.csv`, from which a review prints how often its own design says “lower” for nothing.

Each scenario is 2,000 made-up facilities, drawn from seeds: eight units of 14 to 30 posts, 14 quarters, 9 handling and
7 other injuries per 200,000 hours before any program, people who leave and are hired, new staff hurt half again as
often unless the scenario says otherwise, 8 % never trained. `chosen` is the design that the review leads with by its
own rule; `plain` is before and after read without any allowance for a general fall.

- `median log error`: the middle of log(estimate / truth); 0 is on target, -0.69 is half the true ratio.
- `spread of it` should be near `expected error`, which is known before the sides of the cases are looked at.
- `covers the truth` should be near 95 %. `says “lower”` should be 2.5 % or less where nothing changed, and is the power
  where something did.

What follows for the rule that picks the leading design:

- Plain before and after says “lower” too often when rates fall anyway, so it leads only where nothing else can be had,
  and then has to beat a general fall of 4 % a year.
- Trained against not yet trained inside one unit and quarter reads too low in every scenario: those not yet trained
  there are mostly new staff, who are hurt more often. It stays on the ladder and never leads by the rule.
- Staggered starts, comparison units, and the model with a steady yearly change hold their level when rates fall. The
  rule takes the first two where they could show a large fall, else the third.
- The interrupted series takes one start for all units. Where they start one after the other it reads an effect too
  high; the review says that its assumption does not hold.
- Where the worst units start first, the staggered design and the model read too low: the early starters fall back by
  chance. Before and after over all units does not. The review says so where the early starters had the higher rate.
- Where fewer injuries of all kinds are reported after the start, every design but the one against other injuries is
  fooled. The review prints that one beside the leading one.
- The price is power: with some 150 staff and 45 cases a true halving is found only now and then; the review says so.
"""


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
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Staff:
    """Who sits on which post in which quarter; arrays of shape (quarters, posts)."""

    unit: Any
    hours: Array
    trained_at: Array  # quarters since the beginning; inf: never while employed
    is_new: Any


def staff(dice: np.random.Generator, scenario: Scenario, posts: Any, begins: Array) -> Staff:
    """People over the quarters. ``posts`` is the unit of each post, ``begins`` the go-live of each unit."""
    n = posts.size
    part = dice.uniform(0.5, 1.2, n) * HOURS_A_QUARTER
    trained: list[Array] = [np.full(n, np.inf)]
    hired = np.full(n, -9.0)
    trained_at, never = np.full(n, np.inf), dice.random(n) < NEVER_TRAINED
    seat, holder = np.arange(n), np.zeros((QUARTERS, n), dtype=np.intp)
    known, is_new = n, np.zeros((QUARTERS, n), dtype=bool)
    for quarter in range(QUARTERS):
        leave = dice.random(n) < scenario.turnover if quarter else np.zeros(n, dtype=bool)
        count = int(leave.sum())
        seat = seat.copy()
        seat[leave] = np.arange(known, known + count)
        known += count
        trained_at = np.append(trained_at, np.full(count, np.inf))
        never = np.append(never, dice.random(count) < NEVER_TRAINED)
        hired = np.append(hired, np.full(count, float(quarter)))
        if scenario.transfers and quarter:
            moving = np.flatnonzero(dice.random(n) < scenario.transfers)
            seat[moving] = seat[dice.permutation(moving)]
        start = begins[posts]
        due = np.isinf(trained_at[seat]) & ~never[seat] & (start < quarter + 1)
        at = np.where(start >= quarter, start + dice.uniform(0, 0.5, n), quarter + dice.uniform(0.1, 0.4, n))
        trained_at[seat[due]] = at[due]
        holder[quarter] = seat
        is_new[quarter] = quarter - hired[seat] < 2
        trained.append(trained_at[seat])
    return Staff(np.broadcast_to(posts, holder.shape), np.broadcast_to(part, holder.shape), trained_at[holder], is_new)


def begins_of(dice: np.random.Generator, scenario: Scenario, first_year: Array) -> Array:
    """Go-live of each unit in quarters; ``inf`` for comparison units. ``first_year``: rate of each unit."""
    order = np.argsort(-first_year) if scenario.worst_first else dice.permutation(UNITS)
    begins = np.full(UNITS, np.inf)
    program = [unit for unit in order if unit < UNITS - scenario.comparison_units]
    for place, unit in enumerate(program):
        begins[unit] = (4 + place if scenario.staggered else 6) + dice.uniform(0.02, 0.25)
    return begins


def facility(scenario: Scenario, seed: int) -> tuple[Panel, Personal, dict[str, float]]:
    """One facility's arrays, and the true ratio by the person's and by the unit's reckoning."""
    dice = np.random.default_rng(seed)
    posts = np.repeat(np.arange(UNITS), scenario.size * dice.integers(14, 31, UNITS))
    own = dice.gamma(scenario.unit_shape, 1 / scenario.unit_shape, UNITS)
    quarter = np.arange(QUARTERS)
    change = (1 + scenario.yearly_change) ** ((quarter + 0.5) / 4)
    change[3] *= scenario.shock
    level = change[:, None] * own[None, :]
    if math.isfinite(scenario.frailty_shape):
        level = level * dice.gamma(scenario.frailty_shape, 1 / scenario.frailty_shape, level.shape)
    # The first year is drawn before anyone starts, so that the order of starts can follow it.
    first_year = dice.poisson(level[:4].sum(axis=0) * HANDLING * HOURS_A_QUARTER * np.bincount(posts)) / np.bincount(
        posts
    )
    begins = begins_of(dice, scenario, first_year)
    people = staff(dice, scenario, posts, begins)
    base = level[:, posts] * np.where(people.is_new, scenario.new_hire_risk, 1.0) * people.hours
    if scenario.worst_first:
        base[:4] = 0.0  # replaced by the counts that the order was chosen by, below
    handling, other = dice.poisson(base * HANDLING), dice.poisson(base * OTHER)
    if scenario.worst_first:
        counts = np.round(first_year * np.bincount(posts)).astype(int)
        for unit in range(UNITS):
            seats = np.flatnonzero(posts == unit)
            np.add.at(handling, (dice.integers(0, 4, counts[unit]), dice.choice(seats, counts[unit])), 1)
        other[:4] = dice.poisson(level[:4][:, posts] * people.hours[:4] * OTHER)
    return assembled(dice, scenario, people, begins, handling, other, base)


def assembled(
    dice: np.random.Generator, scenario: Scenario, people: Staff, begins: Array, handling: Any, other: Any, base: Array
) -> tuple[Panel, Personal, dict[str, float]]:
    """Hours and cases by unit, quarter, side of the start and phase of training."""
    start, trained = begins[people.unit], people.trained_at
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
        counted(dice, scenario, events, people, begins, cell, is_handling=is_handling)
        for events, is_handling in ((handling, True), (other, False))
    )
    panel = _panel(hours, cases[0], begins)
    personal = _personal(hours, *cases)
    by_unit = panel_truth(expected, with_program, begins)
    by_person = ratio_of(with_program[:, 2], expected[:, 2])
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
    people: Staff,
    begins: Array,
    cell: Any,
    *,
    is_handling: bool,
) -> Array:
    """The cases that occur and are reported, shape as the hours."""
    where = np.repeat(np.flatnonzero(events), events[events > 0])
    moment = where // events.shape[1] + dice.random(where.size)
    trained, start = people.trained_at.ravel()[where], begins[people.unit.ravel()[where]]
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


def panel_truth(expected: Array, with_program: Array, begins: Array) -> float:
    started = _states(begins) == STARTED
    return ratio_of(with_program[1][:, :, started], expected[1][:, :, started])


def ratio_of(with_program: Array, without: Array) -> float:
    return float(with_program.sum() / without.sum()) if without.sum() else math.nan


def asked(scenario: Scenario, seed: int) -> list[tuple[float, ...]]:
    """Per row of ``ROWS``: 1 if computable, estimate, lower, upper, truth, expected error, says lower, picked."""
    panel, personal, truth = facility(scenario, seed)
    found = designs.all_designs(panel, personal, 0.95)
    lead = designs.choose_primary(found)
    lines = []
    for name in ROWS:
        item = found[lead if name == CHOSEN else BEFORE_AFTER if name == PLAIN else name]
        below = 1.0 if name == PLAIN else designs.background_ratio(item.design, personal.years_apart)
        lines.append(_line(item, below, truth, picked=name == lead))
    return lines


def _line(item: Designed, below: float, truth: dict[str, float], *, picked: bool) -> tuple[float, ...]:
    true = truth["person" if item.design in designs.BY_PERSON else "unit"]
    computed = not item.reason
    lower = verdict_of(item, below) == "lower"
    return (computed, item.estimate, item.lower, item.upper, true, item.expected_error, lower, picked)


def many(scenario: Scenario, seeds: Sequence[int]) -> Array:
    """Shape (facilities, rows, 8)."""
    return np.array([asked(scenario, seed) for seed in seeds], dtype=float)


def simulated(scenario: Scenario, facilities: int, pool: ProcessPoolExecutor) -> Array:
    first = 1_000_000 * (SCENARIOS.index(scenario) + 1)
    parts = [range(first + i, min(first + i + 50, first + facilities)) for i in range(0, facilities, 50)]
    return np.concatenate(list(pool.map(partial(many, scenario), parts)))


def summary(scenario: Scenario, found: Array) -> list[dict[str, str]]:
    """One row a design, ready for the csv."""
    rows = []
    for place, name in enumerate(ROWS):
        computed, estimate, lower, upper, true, error, says, picked = found[:, place].T
        had = computed == 1
        firm = had & (estimate > 0) & np.isfinite(estimate)
        logs = np.log(estimate[firm] / true[firm])
        inside = (lower[had] <= true[had]) & (true[had] <= upper[had])
        rows.append(
            {
                "scenario": scenario.name,
                "design": name,
                "facilities": str(len(found)),
                "effect": f"{scenario.effect:g}",
                "yearly_change": f"{scenario.yearly_change:g}",
                "true_ratio": f"{np.nanmean(true):.4f}",
                "computed": f"{had.mean():.4f}",
                "picked": f"{picked.mean():.4f}",
                "median_log_error": f"{np.median(logs):.4f}" if firm.any() else "",
                "sd_log_error": f"{_spread(logs):.4f}" if firm.any() else "",
                "median_expected_error": f"{np.median(error[had]):.4f}" if had.any() else "",
                "coverage": f"{inside.mean():.4f}" if had.any() else "",
                "says_lower": f"{says.mean():.4f}",
            }
        )
    return rows


def _spread(values: Array) -> float:
    """Standard deviation from the quartiles: a few runaway fits do not move it."""
    return float((np.quantile(values, 0.75) - np.quantile(values, 0.25)) / 1.349)


def markdown(rows: list[dict[str, str]]) -> list[str]:
    lines: list[str] = []
    for name in dict.fromkeys(row["scenario"] for row in rows):
        mine = [row for row in rows if row["scenario"] == name]
        true = {row["design"]: row["true_ratio"] for row in mine}
        lines += [
            "",
            f"## {name[0].upper()}{name[1:]}",
            "",
            f"True ratio by person {float(true[BEFORE_AFTER]):.2f}, by unit {float(true['staggered']):.2f}.",
            "",
            "| design | computed | picked | median log error | spread of it | expected error | covers the truth | "
            "says “lower” (range for chance) |",
            "|---|---|---|---|---|---|---|---|",
        ]
        for row in mine:
            n = int(row["facilities"])
            chance = proportions.wilson(round(float(row["says_lower"]) * n), n, confidence=0.95)
            cover = f"{float(row['coverage']):.1%}" if row["coverage"] else ""
            lines.append(
                f"| {row['design']} | {float(row['computed']):.0%} | {float(row['picked']):.0%} | "
                f"{row['median_log_error']} | {row['sd_log_error']} | {row['median_expected_error']} | {cover} | "
                f"{float(row['says_lower']):.1%} ({chance.lower:.1%} to {chance.upper:.1%}) |"
            )
    return lines


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--facilities", type=int, default=2000, help="per scenario")
    parser.add_argument("--scenario", type=int, action="append", help="number from 1 on; all if not given")
    parser.add_argument("--print-only", action="store_true", help="print the tables and write nothing")
    given = parser.parse_args()
    chosen = [SCENARIOS[i - 1] for i in given.scenario or range(1, len(SCENARIOS) + 1)]
    rows: list[dict[str, str]] = []
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        for scenario in chosen:
            rows += summary(scenario, simulated(scenario, given.facilities, pool))
            print(scenario.name, file=sys.stderr)
    if given.print_only:
        print("\n".join(markdown(rows)))
        return 0
    with SHIPPED.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    (HERE / "DESIGNS.md").write_text(INTRO + "\n".join(markdown(rows)) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
