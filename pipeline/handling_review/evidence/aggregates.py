"""What a facility hands to its health system: cases and hours in cells, no row about a person, no small cell.

Cells are quarter x unit x phase, with three phases: before training, after it, and neither (waiting time, never
trained, not known). A cell is small where any count that can be read from it is 1 to 4: a series, or the difference of
two series that hold each other (recordable cases that are not DART cases); and where its hours are fewer than so many
full-time people work in a quarter, because few hours can be one person's. Small cells of the same phase are put
together, first across the units of a quarter, then across quarters. So the cases and hours of each phase add up to just
what they were, and only their place in the facility is lost.

The three totals of the whole facility are always handed on, however small: were they held back, the system would leave
out just the facilities with few cases after training, and its ratio would be too high. So the file is a restricted one,
for the safety office of the system, and does not go beside the wide copy.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from handling_review.evidence.assemble import Review
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.tally import ALL_SERIES, PersonTime, Tally

FILE = "facility-aggregates.json"
FORMAT = "facility aggregates of a safe-handling program review"
FORMAT_VERSION = 1
TOGETHER = "(together)"  # in place of a unit or a quarter: several of them

NEITHER = "neither"
AGGREGATE_PHASES = ("before", "after", NEITHER)
FULL_TIME_QUARTER = 520.0  # hours of one full-time person: 13 weeks of 40
RESTRICTED = (
    "For the safety office of the health system only. The three totals of the facility can hold small counts. Not for "
    "staff, union or board; not to be passed on beside the wide copy of the review."
)

Place = tuple[str, str]  # quarter, unit
Counts = Mapping[str, Tally]  # by series


@dataclass(frozen=True)
class Cell:
    """Cases of one series and the hours they happened on; ``phase`` is one of ``AGGREGATE_PHASES``.

    ``unit`` and ``quarter`` may be ``TOGETHER``.
    """

    series: str
    quarter: str
    unit: str
    phase: str
    events: int
    hours: float


@dataclass(frozen=True)
class Aggregates:
    """All cells of one facility over its complete quarters, and the definitions they rest on.

    ``washout_days`` is in calendar days; ``few_below`` is the threshold of small cells.
    """

    facility: str
    run_id: str
    as_of: date
    start: date
    end: date
    tool_version: str
    series: str
    washout_days: int
    refresher_months: int | None
    few_below: int
    confidence: float
    quarters: tuple[str, ...]
    cells: tuple[Cell, ...]


def gather(tables: ResultTables, review: Review) -> Aggregates:
    """The aggregates of a review, over the quarters that it found complete."""
    program, scope = review.program, review.scope
    quarters = review.rates.complete()
    table = PersonTime(tables.person_time).within(quarters)
    phases: dict[str, dict[Place, dict[str, Tally]]] = {phase: defaultdict(dict) for phase in AGGREGATE_PHASES}
    for key, tally in table.by("quarter", "unit", "phase").items():
        quarter, unit, phase, series = (str(part) for part in key)
        counts = phases[phase if phase in AGGREGATE_PHASES else NEITHER][quarter, unit]
        counts[series] = counts.get(series, Tally()) + tally
    cells = [
        Cell(series, quarter, unit, phase, tally.events, tally.hours)
        for phase, places in phases.items()
        for (quarter, unit), counts in coarsened(places, program.thresholds.privacy_cell).items()
        for series, tally in counts.items()
    ]
    return Aggregates(
        facility=scope.facility_name,
        run_id=scope.run_id,
        as_of=scope.as_of,
        start=scope.start,
        end=scope.end,
        tool_version=scope.versions["handling-review"],
        series=program.analysis.series,
        washout_days=program.training.washout_days,
        refresher_months=program.training.refresher_months,
        few_below=program.thresholds.privacy_cell,
        confidence=program.analysis.confidence,
        quarters=quarters,
        cells=tuple(cells),
    )


def coarsened(places: Mapping[Place, Counts], few_below: int) -> dict[Place, Counts]:
    """Cells by (quarter, unit) with every small one put together with others; sums stay what they were.

    One small cell that would stand alone takes the kept cell with the fewest recordable cases with it, so that no
    subtraction from the total gives it back. Where even the whole is small there is one cell.
    """
    kept = {place: counts for place, counts in places.items() if not is_small(counts, few_below)}
    small = {place: counts for place, counts in places.items() if place not in kept}
    by_quarter: dict[str, list[Place]] = defaultdict(list)
    for place in small:
        by_quarter[place[0]].append(place)
    rest: list[Counts] = []
    for quarter, found in sorted(by_quarter.items()):
        together = _sum(small[place] for place in found)
        if len(found) > 1 and not is_small(together, few_below):
            kept[quarter, TOGETHER] = together
        else:
            rest += [small[place] for place in found]
    while rest and kept and (len(rest) == 1 or is_small(_sum(rest), few_below)):
        rest.append(kept.pop(min(kept, key=lambda place: _for_company(place, kept[place]))))
    if rest:
        kept[TOGETHER, TOGETHER] = _sum(rest)
    return dict(sorted(kept.items()))


def is_small(counts: Counts, few_below: int) -> bool:
    """Whether a count that can be read from a cell is above nought and below the threshold, or the hours are few.

    Few hours: fewer than ``few_below`` full-time people work in a quarter, unless there is nothing at all.
    """
    n = {series: counts[series].events if series in counts else 0 for series in ALL_SERIES}
    apart = (
        n["recordable"] - n["handling"] - n["non_handling"],
        n["recordable"] - n["dart"],
        n["dart"] - n["days_away"],
        n["recordable"] - n["handling"],
        n["recordable"] - n["non_handling"],
    )
    hours = max((tally.hours for tally in counts.values()), default=0.0)
    is_few = hours < few_below * FULL_TIME_QUARTER and (hours > 0 or any(n.values()))
    return is_few or any(0 < count < few_below for count in (*n.values(), *apart))


def _for_company(place: Place, counts: Counts) -> tuple[bool, int, Place]:
    """Cells with cases come first: one without any would hide nothing."""
    events = counts["recordable"].events if "recordable" in counts else 0
    return events == 0, events, place


def _sum(found: Iterable[Counts]) -> Counts:
    whole: dict[str, Tally] = {}
    for counts in found:
        for series, tally in counts.items():
            whole[series] = whole.get(series, Tally()) + tally
    return whole


def as_json(found: Aggregates) -> str:
    """The aggregates as text that a person can read before it leaves the house; one cell a line."""
    head: dict[str, Any] = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "restricted": RESTRICTED,
        "facility": found.facility,
        "run_id": found.run_id,
        "as_of": found.as_of.isoformat(),
        "period_start": found.start.isoformat(),
        "period_end": found.end.isoformat(),
        "tool_version": found.tool_version,
        "definitions": {
            "series": found.series,
            "washout_days": found.washout_days,
            "refresher_months": found.refresher_months,
            "confidence": found.confidence,
            "small_cells_below": found.few_below,
        },
        "quarters": list(found.quarters),
        "cell_columns": ["series", "quarter", "unit", "phase", "cases", "hours_worked"],
    }
    lines = json.dumps(head, ensure_ascii=False, indent=1)[:-2]
    cells = ",\n  ".join(
        json.dumps([c.series, c.quarter, c.unit, c.phase, c.events, c.hours], ensure_ascii=False) for c in found.cells
    )
    return f'{lines},\n "cells": [\n  {cells}\n ]\n}}\n'
