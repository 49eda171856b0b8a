"""What a facility hands on: totals stay, no small cell leaves, and nobody can work one out."""

from __future__ import annotations

import random
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import linprog

from handling_review.evidence.aggregates import FULL_TIME_QUARTER, TOGETHER, coarsened, is_small
from handling_review.evidence.tally import ALL_SERIES, Tally

HOLDS = (("dart", "recordable"), ("days_away", "dart"), ("handling", "recordable"), ("non_handling", "recordable"))
FLOOR = 5 * FULL_TIME_QUARTER  # 2,600 hours, more than one person can work in a quarter (2,208 from clock to clock)


def drawn(seed: int) -> dict[tuple[str, str], dict[str, Tally]]:
    """The cells of one phase of a facility, series that hold each other drawn one from the other.

    Some cells hold the hours of one person, some have cases and no hours, as a log that begins before the hours has.
    """
    draw = random.Random(seed)
    places: dict[tuple[str, str], dict[str, Tally]] = {}
    for quarter in [f"2025-Q{i + 1}" for i in range(draw.randint(1, 4))]:
        for unit in "ABCDE"[: draw.randint(1, 5)]:
            mean = draw.choice((0.0, 0.5, 2.0, 9.0, 30.0))
            handling, other = (sum(draw.random() < mean / 60 for _ in range(60)) for _ in range(2))
            recordable = handling + other + draw.choice((0, 0, 0, 1))
            dart = draw.randint(0, recordable)
            events = {
                "handling": handling, "non_handling": other, "recordable": recordable, "dart": dart,
                "days_away": draw.randint(0, dart), "first_aid": draw.randint(0, 9),
            }  # fmt: skip
            hours = draw.choice((0.0, 40.5, 480.0, 5000.0, 12000.25, 30000.0))
            places[quarter, unit] = {series: Tally(events[series], hours) for series in ALL_SERIES}
    return places


@pytest.mark.parametrize("seed", range(200))
def test_totals_stay_and_no_small_cell_leaves_unless_it_is_the_whole(seed: int) -> None:
    places = drawn(seed)
    found = coarsened(places, 5)
    for series in ALL_SERIES:
        assert sum(c[series].events for c in found.values()) == sum(c[series].events for c in places.values())
        assert sum(c[series].hours for c in found.values()) == sum(c[series].hours for c in places.values())
    for place, counts in found.items():
        n = {series: tally.events for series, tally in counts.items()}
        told = [*n.values(), *(n[outer] - n[inner] for inner, outer in HOLDS)]
        told.append(n["recordable"] - n["handling"] - n["non_handling"])
        hours = {tally.hours for tally in counts.values()}
        few = any(0 < count < 5 for count in told) or (max(hours) < FLOOR and (max(hours) > 0 or any(n.values())))
        assert not few or (place == (TOGETHER, TOGETHER) and len(found) == 1)
        assert is_small(counts, 5) == few


def groups(
    places: dict[tuple[str, str], dict[str, Tally]], found: dict[tuple[str, str], dict[str, Tally]]
) -> dict[tuple[str, str], list[tuple[str, str]]]:
    """Which cells went into each one handed on, as an attacker who knows the rule and all cells would sort them."""
    apart = {q for q, u in found if u == TOGETHER and q != TOGETHER}
    inside: dict[tuple[str, str], list[tuple[str, str]]] = {place: [] for place in found}
    for place in sorted(places):
        if place in found:
            inside[place].append(place)
        elif place[0] in apart and is_small(places[place], 5):
            inside[place[0], TOGETHER].append(place)
        else:
            inside[TOGETHER, TOGETHER].append(place)
    for place, members in inside.items():
        for series in ALL_SERIES:
            assert sum(places[one][series].events for one in members) == found[place][series].events
    return inside


@pytest.mark.parametrize("seed", range(120))
def test_nobody_can_work_a_small_cell_out_of_what_is_handed_on(seed: int) -> None:
    """An attacker who knows which cells there were, and every number handed on, solves for each small count.

    He also knows which kinds hold which, and which cells went together. What he must not find is one value; nor the
    hours of one cell that was put with others.
    """
    places = drawn(seed)
    if len(places) < 2:
        return  # one cell is the whole facility
    found = coarsened(places, 5)
    order = sorted(places)
    at = {
        (place, series): i * len(ALL_SERIES) + j for i, place in enumerate(order) for j, series in enumerate(ALL_SERIES)
    }
    rows, sums = [], []
    for handed, members in groups(places, found).items():
        assert members == [handed] or len(members) >= 2, "hours of one cell alone could be told"
        for series in ALL_SERIES:
            row = np.zeros(len(at))
            row[[at[place, series] for place in members]] = 1
            rows.append(row)
            sums.append(found[handed][series].events)
    holds = []
    for place in order:
        for inner, outer in HOLDS[:2]:
            row = np.zeros(len(at))
            row[at[place, inner]], row[at[place, outer]] = 1, -1
            holds.append(row)
        row = np.zeros(len(at))
        row[[at[place, "handling"], at[place, "non_handling"]]], row[at[place, "recordable"]] = 1, -1
        holds.append(row)
    for place in order:
        for series in ALL_SERIES:
            truth = places[place][series].events
            if not 0 < truth < 5:
                continue
            goal = np.zeros(len(at))
            goal[at[place, series]] = 1
            ends = [
                linprog(sign * goal, A_eq=np.array(rows), b_eq=sums, A_ub=np.array(holds), b_ub=np.zeros(len(holds)))
                for sign in (1, -1)
            ]
            low, high = ends[0].fun, -ends[1].fun
            assert low <= truth + 1e-6
            assert high >= truth - 1e-6
            assert high - low >= 1 - 1e-6, (place, series, truth)


def test_a_large_facility_keeps_its_units_and_quarters() -> None:
    """Where every count is five or more, or none, and staff are many, nothing is put together."""
    events = {"handling": 20, "non_handling": 10, "recordable": 30, "dart": 15, "days_away": 8, "first_aid": 9}
    places = {
        (quarter, unit): {series: Tally(events[series], 20_000.0) for series in ALL_SERIES}
        for quarter in ("2025-Q1", "2025-Q2")
        for unit in "AB"
    }
    assert coarsened(places, 5) == places


def test_one_small_cell_takes_another_with_it() -> None:
    events = {"handling": 20, "non_handling": 10, "recordable": 30, "dart": 15, "days_away": 8, "first_aid": 9}
    large = {series: Tally(events[series], 20_000.0) for series in ALL_SERIES}
    larger = {series: Tally(2 * events[series], 20_000.0) for series in ALL_SERIES}
    lone = {series: Tally(0, 38.25) for series in ALL_SERIES}  # nobody was hurt, but the hours are one person's
    found = coarsened({("2025-Q1", "A"): large, ("2025-Q1", "B"): larger, ("2025-Q2", "A"): lone}, 5)
    assert sorted(found) == [(TOGETHER, TOGETHER), ("2025-Q1", "B")]
    assert found[TOGETHER, TOGETHER]["handling"] == Tally(20, 20_038.25)
    assert all(one <= other for one, other in pairwise(found))
