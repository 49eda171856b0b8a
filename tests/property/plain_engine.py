"""A second engine for person-time: plain Python, one row and one day at a time, from the written definitions alone.

It shares no line with the program and none of its ways: no joins, no intervals, no rounding but the one that is stated.

- A unit is named without regard to case or inner space. Another name stands for it by the program file first, then by
  the units file. It is shown as the units file spells it, else as the program file does, else in the spelling that
  sorts first. Units that a rename, merge or split joins are one unit throughout, called after the latest change.
- A row of a later file that already stands in an earlier one of its kind does not count again, be its unit spelled
  otherwise or its pay code in other capitals; a case with other boxes ticked is another row. Nor does the second copy
  of a row in a period that was loaded twice: one of 10 rows or more, at least 1.6 times as many as the middle period of
  its file has, nine tenths of which stand an even number of times, in a file of four periods or more.
- A row of hours counts on the days of its period, both ends included, or on its day worked where it has no period.
  The first k of its d days hold hours * k / d, counted in hundred-millionths of an hour and rounded toward zero, so
  that a correction takes back exactly what its row gave.
- Rows without a pay code, or with a worked one, count. Where the counting rows of one person, unit and period net to
  less than zero, none of them counts.
- before: the days before a person's first qualifying completion. washout: that day and the days on, at least one.
  after: from then on; lapsed on days that no qualifying completion covers. A completion covers the days from it to the
  day before it expires or falls due again, whichever is first.
- never: a person with an id and no qualifying completion. unknown: no id, a privacy case, or everybody without a
  qualifying completion where too few of the trained ids have hours.
- A unit goes live on its programme start, the earliest where several listed units are one; that day is the first after.
- A case that is struck out, void, an older version, or of a person who is not staff does not count. Its outcome is the
  one given, else the most serious box ticked.
- Days are those of the review only.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from property.plain_calendar import first_whole_quarter, months_later, quarter

Row = Mapping[str, Any]
Cell = tuple[str, str, str, str, bool]  # quarter, unit, phase, side of go-live, lapsed
PARTS_OF_AN_HOUR = 100_000_000
COMPLETION = ("employee_id", "course", "completed_on", "status", "expires_on")
WORK = ("employee_id", "unit", "period_start", "period_end", "work_date", "hours", "pay_code")
SERIES = ("handling", "non_handling", "recordable", "dart", "days_away", "first_aid")
RECORDABLE = ("death", "days_away", "restricted_or_transfer", "other_recordable")
BOXES = ("tick_death", "tick_days_away", "tick_restricted", "tick_other")
CASE = ("case_number", "event_date", "unit", "employee_id", "outcome", *BOXES, "version", "row_status")
ONE_DAY = timedelta(days=1)


class NoReviewDays(Exception):
    """The review would end before it starts."""


@dataclass(frozen=True)
class Settings:
    """What a program file says, as far as person-time asks."""

    as_of: date
    start: date | None = None
    end: date | None = None
    log_complete_through: date | None = None
    hours_complete_through: date | None = None
    fiscal_year_start_month: int = 1
    largest_gap_days: int = 6
    worked: tuple[str, ...] = ()
    unit_aliases: Mapping[str, str] = field(default_factory=dict)
    unit_changes: tuple[tuple[date, tuple[str, ...], tuple[str, ...]], ...] = ()  # day, old names, new names
    person_types: tuple[str, ...] = ("employee", "agency")
    qualifying_courses: tuple[str, ...] = ()
    qualifying_statuses: tuple[str, ...] = ("completed", "passed")
    washout_days: int = 30
    refresher_months: int | None = None
    minimum_match_share: Fraction = Fraction(4, 5)


@dataclass(frozen=True)
class Files:
    """Rows of the four files: column name to a value of its own type, None where the cell is empty.

    ``file_no`` of a row is 1, or 2 in a second file of the same kind.
    """

    hours: Sequence[Row]
    incidents: Sequence[Row]
    training: Sequence[Row]
    units: Sequence[Row] = ()


@dataclass(frozen=True)
class Answer:
    """Events and exact hours by cell and series, and how many rows of each file counted."""

    table: Mapping[tuple[str, str, str, str, bool, str], tuple[int, Fraction]]
    used_rows: Mapping[str, int]


def person_time(files: Files, settings: Settings) -> Answer:
    """Events and hours of every cell that holds a used row. Raises ``NoReviewDays``."""
    names = UnitNames(files, settings)
    first, last = review_days(files, settings)
    people = People(files, settings)
    counting = [row for row in hours_that_count(files, settings, names) if overlaps(row, first, last)]
    log = new_rows(files.incidents, CASE, names)
    cases = [row for _, row in log if case_counts(row, files, settings, names) and in_review(row, first, last)]
    hours: dict[Cell, int] = {}
    events: dict[Cell, dict[str, int]] = {}
    month = settings.fiscal_year_start_month
    for row in counting:
        unit = names.unit(row["unit"])
        for day, parts in parts_by_day(row):
            if first <= day <= last:
                phase, lapsed = people.phase(row["employee_id"], day)
                cell = (quarter(day, month), unit, phase, names.side(unit, day), lapsed)
                hours[cell] = hours.get(cell, 0) + parts
    for row in cases:
        unit, day = names.unit(row["unit"]), row["event_date"]
        phase, lapsed = people.phase(None if row["privacy_case"] else row["employee_id"], day)
        tally = events.setdefault((quarter(day, month), unit, phase, names.side(unit, day), lapsed), {})
        for series in series_of(row):
            tally[series] = tally.get(series, 0) + 1
    table = {
        (*cell, series): (events.get(cell, {}).get(series, 0), Fraction(hours.get(cell, 0), PARTS_OF_AN_HOUR))
        for cell in [*hours, *events]
        for series in SERIES
    }
    qualifying = [row for _, row in new_rows(files.training, COMPLETION, names) if qualifies(row, settings)]
    return Answer(table, {"hours": len(counting), "incidents": len(cases), "training": len(qualifying)})


def key(name: str) -> str:
    """A name as it is compared."""
    return " ".join(name.split()).lower()


class UnitNames:
    """Which unit a name stands for, and when it went live."""

    def __init__(self, files: Files, settings: Settings) -> None:
        self._aliases = settings.unit_aliases
        self._changes = settings.unit_changes
        self._units = list(files.units)
        self._spellings = [" ".join(row["unit"].split()) for row in [*files.hours, *files.incidents]]

    def unit(self, name: str) -> str:
        """The unit that a name in a file stands for, as the review shows it."""
        own = self._own_key(name)
        group = self._group(own)
        changes = sorted((one for one in self._changes if key(one[2][0]) in group), key=lambda one: one[0])
        if changes:
            return " + ".join(changes[-1][2])
        listed = [row["unit"] for row in self._units if key(row["unit"]) == own]
        stated = sorted(ours for ours in self._aliases.values() if key(ours) == own)
        return str([*listed, *stated, *sorted(one for one in self._spellings if key(one) == own)][0])

    def _own_key(self, name: str) -> str:
        for theirs, ours in self._aliases.items():
            if key(theirs) == key(name):
                return key(ours)
        if key(name) in [key(row["unit"]) for row in self._units]:
            return key(name)
        for row in self._units:
            if key(name) in [key(other) for other in (row["aliases"] or "").split("|")]:
                return key(row["unit"])
        return key(name)

    def _group(self, own: str) -> set[str]:
        """Names that changes join with this one, directly or through others."""
        group = {own}
        while True:
            for _, old, new in self._changes:
                names = {key(name) for name in (*old, *new)}
                if names & group and not names <= group:
                    group |= names
                    break
            else:
                return group

    def side(self, unit: str, day: date) -> str:
        """before or after go-live; none where the unit has no programme start."""
        starts = [row["program_start"] for row in self._units if self.unit(row["unit"]) == unit]
        start = min((start for start in starts if start is not None), default=None)
        if start is None:
            return "none"
        return "before" if day < start else "after"


class People:
    """Training phase of each person on each day."""

    def __init__(self, files: Files, settings: Settings) -> None:
        self._completions: dict[str, list[tuple[date, date | None]]] = {}
        for row in files.training:
            if qualifies(row, settings):
                self._completions.setdefault(row["employee_id"], []).append(covered(row, settings))
        self._washout_days = max(settings.washout_days, 1)
        trained = {row["employee_id"] for row in files.training}
        seen = trained & {row["employee_id"] for row in files.hours}
        self._absent_phase = "unknown" if Fraction(len(seen), len(trained)) < settings.minimum_match_share else "never"

    def phase(self, employee_id: str | None, day: date) -> tuple[str, bool]:
        if employee_id is None:
            return "unknown", False
        completions = self._completions.get(employee_id)
        if completions is None:
            return self._absent_phase, False
        first = min(completed for completed, _ in completions)
        if day < first:
            return "before", False
        if (day - first).days < self._washout_days:
            return "washout", False
        current = any(completed <= day and (gone is None or day < gone) for completed, gone in completions)
        return "after", not current


def new_rows(rows: Sequence[Row], columns: Sequence[str], names: UnitNames) -> Iterator[tuple[int, Row]]:
    """Rows that no earlier file of the same kind holds with the same content in ``columns``, with their places."""

    def content(row: Row) -> Row:
        held = {name: bool(row[name]) if name in BOXES else row[name] for name in columns}
        if "unit" in held:
            held["unit"] = names.unit(row["unit"])
        if held.get("pay_code"):
            held["pay_code"] = row["pay_code"].lower()
        return held

    contents = [(row["file_no"], content(row)) for row in rows]
    for place, (file_no, held) in enumerate(contents):
        if not any(other_no < file_no and other == held for other_no, other in contents):
            yield place, rows[place]


def second_copies(rows: Sequence[Row]) -> set[int]:
    """Places in ``rows`` of the second copies of rows of hours in periods that were loaded twice."""
    found: set[int] = set()
    for file_no in {row["file_no"] for row in rows}:
        periods: dict[tuple[Any, ...], list[int]] = {}
        for place, row in enumerate(rows):
            if row["file_no"] == file_no:
                periods.setdefault((row["period_start"], row["period_end"], row["work_date"]), []).append(place)
        sizes = sorted(map(len, periods.values()))
        middle = Fraction(sizes[(len(sizes) - 1) // 2] + sizes[len(sizes) // 2], 2)
        for places in periods.values():
            same = [tuple(rows[place][name] for name in WORK) for place in places]
            copies, met = Counter(same), Counter[tuple[Any, ...]]()
            even = sum(copies[one] % 2 == 0 for one in same)
            if (
                len(periods) < 4
                or len(places) < max(Fraction(10), Fraction(8, 5) * middle)
                or 10 * even < 9 * len(places)
            ):
                continue
            for place, one in zip(places, same, strict=True):
                met[one] += 1
                if copies[one] % 2 == 0 and met[one] > copies[one] // 2:
                    found.add(place)
    return found


def qualifies(row: Row, settings: Settings) -> bool:
    """Whether a training row is a completion of safe handling."""
    if row["completed_on"] > settings.as_of:
        return False
    if row["expires_on"] is not None and row["expires_on"] < row["completed_on"]:
        return False
    if row["status"] not in settings.qualifying_statuses:
        return False
    courses = [key(course) for course in settings.qualifying_courses]
    named = key(row["course"])
    return not courses or any(
        named.startswith(course[:-1]) if course.endswith("*") else named == course for course in courses
    )


def covered(row: Row, settings: Settings) -> tuple[date, date | None]:
    """Day of completion and the first day that it no longer covers, None where it covers all days to come."""
    ends = [row["expires_on"]] if row["expires_on"] is not None else []
    if settings.refresher_months is not None:
        ends.append(months_later(row["completed_on"], settings.refresher_months))
    return row["completed_on"], min(ends, default=None)


def days_of(row: Row) -> tuple[date, date] | None:
    """First and last day of a row of hours, None where it names none."""
    if row["period_start"] is not None and row["period_end"] is not None:
        return row["period_start"], row["period_end"]
    return (row["work_date"], row["work_date"]) if row["work_date"] is not None else None


def hours_that_count(files: Files, settings: Settings, names: UnitNames) -> Iterator[Row]:
    """Rows of hours worked that do not belong to a total below zero."""
    worked = [code.lower() for code in settings.worked]
    totals: dict[tuple[Any, ...], Fraction] = {}
    counting = []
    copies = second_copies(files.hours)
    for place, row in new_rows(files.hours, WORK, names):
        days = days_of(row)
        if days is None or days[1] < days[0]:
            continue
        if row["pay_code"] is not None and row["pay_code"].lower() not in worked:
            continue
        if place in copies:
            continue
        who = (row["employee_id"], names.unit(row["unit"]), days)
        totals[who] = totals.get(who, Fraction(0)) + Fraction(row["hours"])
        counting.append((who, row))
    return (row for who, row in counting if totals[who] >= 0)


def overlaps(row: Row, first: date, last: date) -> bool:
    """Whether a row of hours has a day inside the review."""
    days = days_of(row)
    return days is not None and days[0] <= last and days[1] >= first


def parts_by_day(row: Row) -> Iterator[tuple[date, int]]:
    """Each day of a row with its hundred-millionths of an hour."""
    days = days_of(row)
    assert days is not None
    parts = Fraction(row["hours"]) * PARTS_OF_AN_HOUR
    count = (days[1] - days[0]).days + 1
    given = 0
    for k in range(1, count + 1):
        so_far = int(parts * k / count)  # int() rounds a fraction toward zero
        yield days[0] + (k - 1) * ONE_DAY, so_far - given
        given = so_far


def case_counts(row: Row, files: Files, settings: Settings, names: UnitNames) -> bool:
    """Whether a case stands in the log, is of staff, has an outcome, and its unit has a row of hours."""
    if row["row_status"] in ("struck_out", "void"):
        return False
    if row["version"] is not None:
        same = [r for r in files.incidents if r["case_number"] == row["case_number"]]
        same = [r for r in same if r["event_date"].year == row["event_date"].year and r["version"] is not None]
        if row["version"] < max(r["version"] for r in same):
            return False
    if (row["person_type"] or "employee") not in settings.person_types or outcome(row) is None:
        return False
    with_hours = {names.unit(one["unit"]) for one in files.hours}
    return row["event_date"] <= settings.as_of and names.unit(row["unit"]) in with_hours


def in_review(row: Row, first: date, last: date) -> bool:
    """Whether a case happened on a day of the review."""
    return bool(first <= row["event_date"] <= last)


def outcome(row: Row) -> str | None:
    """The outcome given, else the most serious box of Form 300 that is ticked."""
    if row["outcome"] is not None:
        return str(row["outcome"])
    return next((result for box, result in zip(BOXES, RECORDABLE, strict=True) if row[box]), None)


def from_handling(row: Row) -> bool | None:
    """Whether a case came from handling a client; None where the log does not decide it."""
    if row["handling_related"] is not None:
        return bool(row["handling_related"])
    if row["activity"] not in (None, "unknown"):
        return bool(row["activity"] != "not_handling")
    from_person: bool | None = row["source_person"]
    if row["event_type"] in (None, "unknown"):
        return None
    if row["event_type"] in ("overexertion", "repetitive"):
        return from_person
    if row["event_type"] in ("violence", "exposure", "transport"):
        return False
    return None if from_person else False  # a slip, a blow or the like: only a client's part in it leaves it open


def series_of(row: Row) -> Iterator[str]:
    """Every series that a case belongs to."""
    result = outcome(row)
    if result in RECORDABLE:
        yield "recordable"
        handling = from_handling(row)
        if handling is not None:
            yield "handling" if handling else "non_handling"
    if result in ("days_away", "restricted_or_transfer"):
        yield "dart"
    if result in ("days_away", "first_aid"):
        yield result


def review_days(files: Files, settings: Settings) -> tuple[date, date]:
    """First and last day of the review, as stated or as the hours file allows. Raises ``NoReviewDays``."""
    dated = [days for row in files.hours if (days := days_of(row)) is not None]
    if not dated:
        raise NoReviewDays
    earliest, latest = min(first for first, _ in dated), max(last for _, last in dated)
    hours_through = settings.hours_complete_through or min(latest, settings.as_of)
    log_through = settings.log_complete_through or hours_through
    last = settings.end or min(hours_through, log_through, settings.as_of)
    month = settings.fiscal_year_start_month
    first = settings.start or first_whole_quarter(earliest, month, settings.largest_gap_days)
    if first > last:
        raise NoReviewDays
    return first, last
