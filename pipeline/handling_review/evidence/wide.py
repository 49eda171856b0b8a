"""What readers beyond the committee may see: counts by year and by unit, with small ones and their givers-away hidden.

Calendar years, not sliding windows: two windows that overlap give away the quarters in which they differ. The posted
annual summary (29 CFR 1904.32) has the same years, so nothing new follows from setting the two side by side.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from handling_review.evidence import wide_cells
from handling_review.evidence.assemble import Review
from handling_review.evidence.ladder import Rung
from handling_review.evidence.measure import Rate, measure
from handling_review.evidence.numbers import Number, hours, key_part, share
from handling_review.evidence.panel import ADJUSTED, COMPARISON, CONTROL, INTERRUPTED, STAGGERED, WITHIN
from handling_review.evidence.quarters import year_of
from handling_review.evidence.rates import four_to, total
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.tally import SERIES, PersonTime, Tally
from handling_review.evidence.training import STATUSES
from handling_review.evidence.wide_cells import ALL_YEARS, LAST_FOUR, Cells
from handling_review.stats.suppression import Reader, Sum, Suppression, is_small, suppress

COUNTS_AND_RATIO, RATIO_ONLY, NOT_SHOWN = "counts and ratio", "ratio only", "not shown"
# Their ratio is a model of many cells, so that it does not follow from two counts, nor the two counts from it.
_OF_MANY_CELLS = (INTERRUPTED, ADJUSTED, WITHIN, STAGGERED)


@dataclass(frozen=True)
class Row:
    """One place and time. ``rate`` holds the count too and is ``None`` where it is not shown; hours always are."""

    label: str
    hours: Number
    rate: Rate | None


@dataclass(frozen=True)
class SeriesRows:
    """One series of the facility: the years, the last four quarters where they may be shown, the whole period."""

    series: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class YearCoverage:
    """Shares of the hours worked in one year by training status, in the order of ``STATUSES``."""

    label: str
    hours: Number
    shares: tuple[Number, ...]


@dataclass(frozen=True)
class Wide:
    """The wide copy's numbers.

    ``units`` are alphabetical, with the facility last; ``standing_out`` names those of them that may be named, and
    ``units_compared`` says whether any may. ``answer`` is how much of the leading comparison may be shown.
    ``suppression`` says which counts are hidden (for the log and tests, never for the page).
    """

    below: int
    years: tuple[str, ...]
    series: tuple[SeriesRows, ...]
    units: tuple[Row, ...]
    standing_out: tuple[tuple[str, str], ...]
    units_compared: bool
    answer: str
    coverage: tuple[YearCoverage, ...]
    suppression: Suppression

    @property
    def hides(self) -> bool:
        """True if a count on the page is not shown."""
        return bool(self.suppression.hidden)


def gather(tables: ResultTables, review: Review, *, complementary: bool = True) -> Wide:
    """The wide copy of a review.

    Without ``complementary`` only small counts are hidden; a reader can then work some of them out.
    """
    below = review.program.thresholds.privacy_cell
    complete = review.rates.complete()
    strata = Strata(tables, complete)
    if not complete or strata.frame.empty:
        return Wide(below, (), (), (), (), False, NOT_SHOWN, (), Suppression(frozenset(), frozenset(), ()))
    lead = review.answer.ladder.lead
    latest = _latest(review)
    cells = Cells(strata, review.series, latest)
    people = cells.people()
    counts = cells.counts()
    reader = Reader(cells.count, counts, cells.links, below)
    found = suppress(reader, people, complementary=complementary)
    sided = Cells(strata, review.series, latest, lead.design)
    answer, beside = _answer(sided, found, lead, review)
    four = _last_four(sided if beside else cells, beside, found, below)
    windows = (*cells.years, *((LAST_FOUR,) if four else ()), ALL_YEARS)
    by_quarter = PersonTime(tables.person_time).by("quarter")
    shown = {one.name for one in (*counts, *four)} - found.hidden
    units = _units(tables, review, cells, shown)
    stands, compared = _stands_out(review, shown)
    return Wide(
        below=below,
        years=cells.years,
        series=tuple(
            SeriesRows(series, tuple(_row(w, series, cells, by_quarter, shown, review) for w in windows))
            for series in (review.series, *(series for series in SERIES if series != review.series))
        ),
        units=units,
        standing_out=stands,
        units_compared=compared,
        answer=answer,
        coverage=_coverage(tables, complete),
        suppression=found,
    )


def _latest(review: Review) -> tuple[str, ...]:
    """The last four quarters where they are not a year of their own."""
    recent = review.rates.recent
    if recent is None:
        return ()
    quarters = four_to(recent.quarter)
    return () if len({year_of(quarter) for quarter in quarters}) == 1 else quarters


def _answer(cells: Cells, found: Suppression, lead: Rung, review: Review) -> tuple[str, tuple[Sum, ...]]:
    """How much of the leading comparison can stand beside the tables, and the counts that this adds to them.

    The ratio and its range give the counts of both sides away, so they are printed together where the counts are safe.
    The ratio of a model of many cells stands alone where both sides have cases in plenty.
    """
    if lead.ratio is None:
        return NOT_SHOWN, ()
    names = [wide_cells.NOW, wide_cells.THEN]
    if lead.design == COMPARISON:
        names += [wide_cells.OTHER_NOW, wide_cells.OTHER_THEN]
    sides = [cells.side(name) for name in names]
    if lead.design == CONTROL:
        sides += [cells.control_side(name) for name in names]
    is_as_told = (sides[0].value, sides[1].value) == (lead.now_events.value, lead.then_events.value)
    rest = cells.side(wide_cells.NEITHER)
    below = review.program.thresholds.privacy_cell
    if is_as_told and _fits(cells, tuple(sides), (*sides, rest), found, below):
        return COUNTS_AND_RATIO, tuple(sides)
    steady = review.program.thresholds.unstable_below
    fewest = min(int(lead.now_events.value or 0), int(lead.then_events.value or 0))
    if lead.design in _OF_MANY_CELLS and fewest >= steady:
        return RATIO_ONLY, ()
    return NOT_SHOWN, ()


def _last_four(cells: Cells, beside: tuple[Sum, ...], found: Suppression, below: int) -> tuple[Sum, ...]:
    """The last four quarters of every series where they can stand beside all else that is printed; else none."""
    if not cells.latest:
        return ()
    more = tuple(cells.facility(LAST_FOUR, series) for series in SERIES)
    rest = (cells.side(wide_cells.NEITHER),) if beside else ()
    return more if _fits(cells, (*beside, *more), rest, found, below) else ()


def _fits(cells: Cells, more: tuple[Sum, ...], people: tuple[Sum, ...], found: Suppression, below: int) -> bool:
    """True if no small count can be worked out with ``more`` counts printed beside the tables, none of them hidden."""
    if any(is_small(one.value, below) for one in more):
        return False
    reader = Reader(cells.count, (*cells.counts(), *more), cells.links, below)
    return not reader.exposed(found.hidden, (*cells.people(), *people))


def _row(
    window: str,
    series: str,
    cells: Cells,
    by_quarter: Mapping[tuple[object, ...], Tally],
    shown: set[str],
    review: Review,
) -> Row:
    parts = cells.parts_of(window)
    quarters = tuple(sorted(quarter for quarter, part in cells.part_of.items() if part in parts))
    tally = total(by_quarter, quarters, series)
    label = window
    if window in cells.years and len(quarters) < 4:
        label = f"{window} ({len(quarters)} quarter{'' if len(quarters) == 1 else 's'})"
    elif window == LAST_FOUR:
        label = f"Four quarters to {quarters[-1]}"
    place = f"wide/facility/{key_part(window)}"
    rate = measure(place, series, tally, review.program) if f"{window}/{series}" in shown else None
    return Row(label, hours(f"hours/{place}/{series}", tally.hours), rate)


def _units(tables: ResultTables, review: Review, cells: Cells, shown: set[str]) -> tuple[Row, ...]:
    """Units as the review has them over all complete quarters, those whose count is shown with it."""
    rows = [
        Row(row.name, row.overall.hours, row.overall if f"unit {row.unit}" in shown else None)
        for row in review.units.rows
        if row.overall.hours.value or row.overall.events.value
    ]
    whole = review.units.facility_overall
    return (*rows, Row("Whole facility", whole.hours, whole if f"{ALL_YEARS}/{cells.main}" in shown else None))


def _stands_out(review: Review, shown: set[str]) -> tuple[tuple[tuple[str, str], ...], bool]:
    """Units that stand out, and whether any can be compared: only of counts that are on the page.

    A unit is set against all others together, so the facility's count has to be there too.
    """
    if f"{ALL_YEARS}/{review.series}" not in shown:
        return (), False
    rows = [row for row in review.units.compared() if f"unit {row.unit}" in shown]
    return tuple((row.name, row.stands_out) for row in rows if row.stands_out), bool(rows)


def _coverage(tables: ResultTables, complete: tuple[str, ...]) -> tuple[YearCoverage, ...]:
    """Hours worked by training status and year."""
    status = PersonTime(tables.person_time).by("quarter", "phase", "lapsed")
    found = []
    for year in sorted({year_of(quarter) for quarter in complete}):
        of = dict.fromkeys(STATUSES, 0.0)
        for (quarter, phase, lapsed, series), tally in status.items():
            if series == "handling" and quarter in complete and year_of(str(quarter)) == year:
                name = ("lapsed" if lapsed else "current") if phase == "after" else str(phase)
                of[name] += tally.hours
        whole = sum(of.values())
        if whole > 0:
            place = f"wide/facility/{year}"
            shares = tuple(share(f"hours_share/{place}/{name}", of[name] / whole) for name in STATUSES)
            found.append(YearCoverage(year, hours(f"hours/{place}", whole), shares))
    return tuple(found)
