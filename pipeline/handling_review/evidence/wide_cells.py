"""The counts of the copy for readers beyond the committee, as sums over cells that do not overlap.

Which counts hang together: years add up to the period, units add up to the facility, and every recordable case is of
one severity (days away; DART without days away; neither) and one cause (handling; not handling; undecided). So a
difference of two printed counts is a count of people too, and may be a small one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np

from handling_review.evidence.designs_by_unit import roll_out, series_of
from handling_review.evidence.panel import (
    BEFORE_AFTER,
    COMPARISON,
    CONTROL,
    INTERRUPTED,
    NOT_STARTED,
    STARTED,
    WITHIN,
    Flags,
)
from handling_review.evidence.quarters import year_of
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tally import SERIES
from handling_review.stats.suppression import Link, Sum

SEVERITIES = ("days_away", "restricted", "other")
CAUSES = ("handling", "non_handling", "undecided")
KINDS = tuple(product(SEVERITIES, CAUSES))
NOW, THEN, OTHER_NOW, OTHER_THEN, NEITHER = "now", "then", "others now", "others then", "neither"
HOLDS: Mapping[str, frozenset[tuple[str, str]]] = {
    "recordable": frozenset(KINDS),
    "dart": frozenset(kind for kind in KINDS if kind[0] != "other"),
    "days_away": frozenset(kind for kind in KINDS if kind[0] == "days_away"),
    "handling": frozenset(kind for kind in KINDS if kind[1] == "handling"),
    "non_handling": frozenset(kind for kind in KINDS if kind[1] == "non_handling"),
}
# Series that lie inside another one: what is left of the wider one is a count of people as well.
INSIDE = (("recordable", "dart"), ("dart", "days_away"), ("recordable", "handling"))
ALL_YEARS = "whole period"
LAST_FOUR = "last four quarters"
# What hiding a count costs its readers; the whole period costs most, days away least. Hours, never counts, tell units
# apart, so that which larger count is hidden says little of the counts themselves.
_COST = {"recordable": 60, "handling": 60, "dart": 40, "days_away": 30}
_PERIOD_COST, _UNIT_COST = 4, 40


@dataclass(frozen=True)
class Place:
    """One cell of the main series: a unit, a part of the period, and the side of the leading comparison."""

    unit: str
    part: str
    side: str


class Cells:
    """The atoms of one review and every count that its wide copy may print.

    ``strata`` holds the complete quarters, ``main`` the primary series, ``latest`` the last four quarters if they may
    be printed beside the years (else none). ``design`` is the comparison whose sides are told apart; "" for none.
    """

    def __init__(self, strata: Strata, main: str, latest: tuple[str, ...], design: str = "") -> None:
        self.main, self.design = main, design
        self.latest = frozenset(latest)
        quarters = tuple(sorted({str(quarter) for quarter in strata.frame["quarter"]}))
        self.years = tuple(sorted({year_of(quarter) for quarter in quarters}))
        self.part_of = {q: f"{year_of(q)}{' (of the last four)' if q in self.latest else ''}" for q in quarters}
        self.parts = tuple(sorted(set(self.part_of.values())))
        self.units = strata.units
        self._strata = strata
        self.events = self._by_place(main)
        self.places = {place: at for at, place in enumerate(sorted(self.events, key=_order))}
        kinds = product(self.parts, KINDS)
        self.kinds = {kind: at for at, kind in enumerate(kinds, len(self.places))}
        self.count = len(self.places) + len(self.kinds)
        self.control: dict[Place, int] = {}
        if design == CONTROL:  # the ratio tells of the injuries that do not come from handling as well
            others = sorted(self._by_place("non_handling", by_unit=False), key=_order)
            self.control = {place: at for at, place in enumerate(others, self.count)}
            self.count += len(others)

    def _by_place(self, column: str, *, by_unit: bool = True) -> dict[Place, int]:
        """Cases by place; every place where somebody worked or was hurt, and no other, can hold a case."""
        found: dict[Place, int] = {}
        for unit, quarter, side, hours, events in _sided(self._strata, column, self.design):
            if hours > 0 or events:
                place = Place(unit if by_unit else "", self.part_of[quarter], side)
                found[place] = found.get(place, 0) + events
        return found

    @cached_property
    def links(self) -> tuple[Link, ...]:
        """In each part of the period the units add up to the facility."""
        found = []
        for part in self.parts:
            sides = [(self.places, self.main), *([(self.control, "non_handling")] if self.control else [])]
            for places, series in sides:
                own = tuple(at for place, at in places.items() if place.part == part)
                found.append(Link(own, self.of_series(part, series)))
        return tuple(found)

    def of_series(self, part: str, series: str) -> tuple[int, ...]:
        """The facility's atoms of one series in one part of the period."""
        return tuple(self.kinds[part, kind] for kind in KINDS if kind in HOLDS[series])

    def parts_of(self, window: str) -> tuple[str, ...]:
        """The parts of a year, of the last four quarters, or of the whole period."""
        if window == ALL_YEARS:
            return self.parts
        if window == LAST_FOUR:
            return tuple(part for part in self.parts if part.endswith("(of the last four)"))
        return tuple(part for part in self.parts if part == window or part.startswith(f"{window} ("))

    def facility(self, window: str, series: str) -> Sum:
        """The facility's count of one series in one window."""
        cost = _COST[series] * (_PERIOD_COST if window == ALL_YEARS else 1)
        return self._facility(f"{window}/{series}", self.parts_of(window), series, "", cost)

    def _facility(self, name: str, parts: tuple[str, ...], series: str, less: str, cost: int = 0) -> Sum:
        quarters = [quarter for quarter, part in self.part_of.items() if part in parts]
        rows = self._strata.frame[self._strata.frame["quarter"].isin(quarters)]
        kinds = HOLDS[series] - (HOLDS[less] if less else frozenset())
        atoms = tuple(self.kinds[part, kind] for part in parts for kind in KINDS if kind in kinds)
        value = int(rows[series].sum()) - (int(rows[less].sum()) if less else 0)
        return Sum(name, atoms, value, cost)

    def unit(self, unit: str) -> Sum:
        """A unit's count of the main series over the whole period."""
        hours = self._strata.frame.groupby("unit")["hours"].sum()
        share = float(hours.get(unit, 0.0)) / max(float(hours.max()), 1.0)
        return self._of_places(
            f"unit {unit}", (p for p in self.places if p.unit == unit), _UNIT_COST + round(40 * share)
        )

    def side(self, side: str) -> Sum:
        """The count of the main series on one side of the leading comparison."""
        return self._of_places(f"side {side}", (p for p in self.places if p.side == side))

    def control_side(self, side: str) -> Sum:
        """The count of other injuries on one side, where the leading comparison is held against them."""
        values = self._by_place("non_handling", by_unit=False)
        own = [place for place in self.control if place.side == side]
        return Sum(f"others, side {side}", tuple(self.control[p] for p in own), sum(values[p] for p in own))

    def _of_places(self, name: str, places: Iterable[Place], cost: int = 0) -> Sum:
        own = tuple(places)
        return Sum(name, tuple(self.places[p] for p in own), sum(self.events[p] for p in own), cost)

    def counts(self) -> tuple[Sum, ...]:
        """Every count that stands in the tables by year and by unit."""
        windows = (*self.years, ALL_YEARS)
        found = [self.facility(window, series) for window in windows for series in SERIES]
        return (*found, *(self.unit(unit) for unit in self.units if any(p.unit == unit for p in self.places)))

    def people(self) -> tuple[Sum, ...]:
        """Every count of people that a reader may try to work out: printed sums, their parts and differences."""
        windows = (*self.years, ALL_YEARS, *((LAST_FOUR,) if self.latest else ()))
        spans = {window: self.parts_of(window) for window in windows} | {part: (part,) for part in self.parts}
        found = []
        for window, parts in spans.items():
            found += [self._facility(f"{window}/{series}", parts, series, "") for series in SERIES]
            found += [self._facility(f"{window}/{a} not {b}", parts, a, b) for a, b in INSIDE]
        found += [self.unit(unit) for unit in self.units]
        found += [
            self._of_places(f"unit {unit}/{part}", (p for p in self.places if (p.unit, p.part) == (unit, part)))
            for unit in self.units
            for part in self.parts
        ]
        return tuple(one for one in found if one.atoms)


def _order(place: Place) -> tuple[str, str, str]:
    return place.unit, place.part, place.side


def _sided(strata: Strata, column: str, design: str) -> list[tuple[str, str, str, float, int]]:
    """Unit, quarter, side, hours and cases: which cells a design sets against which."""
    if design in (BEFORE_AFTER, CONTROL, WITHIN):
        return _by_person(strata, column, design)
    panel = strata.panel(column)
    masks: dict[str, Flags] = {}
    first, last = roll_out(panel)
    has = ~panel.is_comparison
    if design == COMPARISON:
        early, late = panel.quarter < first, panel.quarter > last
        masks = {NOW: has & late, THEN: has & early, OTHER_NOW: ~has & late, OTHER_THEN: ~has & early}
    elif design == INTERRUPTED:
        start = series_of(panel, has)[2]
        masks = {NOW: has & (panel.quarter >= start), THEN: has & (panel.quarter < start)}
    elif design:
        worked = panel.hours > 0
        masks = {NOW: worked & (panel.state == STARTED), THEN: worked & (panel.state == NOT_STARTED)}
    side = np.full(panel.unit.shape, NEITHER, dtype=object)
    for name, mask in masks.items():
        side[mask] = name
    return [
        (strata.units[unit], strata.quarters[quarter], str(one), float(hours), int(events))
        for unit, quarter, one, hours, events in zip(
            panel.unit.tolist(), panel.quarter.tolist(), side.tolist(), panel.hours, panel.events, strict=True
        )
    ]


def _by_person(strata: Strata, column: str, design: str) -> list[tuple[str, str, str, float, int]]:
    side = strata.frame["phase"].map({"after": NOW, "before": THEN}).fillna(NEITHER)
    rows = strata.frame.assign(side=side).groupby(["unit", "quarter", "side"], sort=True)[["hours", column]].sum()
    found = [
        (str(unit), str(quarter), str(name), float(hours), int(events))
        for (unit, quarter, name), hours, events in zip(
            rows.index.tolist(), rows["hours"].tolist(), rows[column].tolist(), strict=True
        )
    ]
    if design != WITHIN:
        return found
    worked = {(unit, quarter, name) for unit, quarter, name, hours, _ in found if hours > 0}
    both = {(u, q) for u, q, _ in worked if (u, q, NOW) in worked and (u, q, THEN) in worked}
    return [(u, q, name if (u, q) in both else NEITHER, hours, events) for u, q, name, hours, events in found]
