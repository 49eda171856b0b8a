"""Training coverage: what share of the hours worked was worked by trained staff, and how many people."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.tally import PersonTime, Tally
from handling_review.program import Program

STATUSES = ("current", "lapsed", "washout", "before", "never", "unknown")


@dataclass(frozen=True)
class Coverage:
    """Hours of one quarter, or of one unit in the latest complete quarter, by training status.

    ``hours`` and ``shares`` follow ``STATUSES``; ``shares`` is empty when the quarter is incomplete (its
    hours are not all there) or nobody worked. ``reason`` says which.
    """

    name: str
    label: str
    total: Number
    hours: tuple[Number, ...]
    shares: tuple[Number, ...]
    reason: str

    def share(self, status: str) -> Number:
        """The share of one status; ``IndexError`` when shares are withheld."""
        return self.shares[STATUSES.index(status)]


@dataclass(frozen=True)
class PeopleRow:
    """People with hours in a quarter, and how many of them were trained or lapsed at its end."""

    quarter: str
    with_hours: Number
    trained: Number
    lapsed: Number


@dataclass(frozen=True)
class TrainingEvidence:
    """Coverage by quarter, by unit in the latest complete quarter, by unit and quarter, and counts of people.

    ``unit_quarters`` holds for each complete quarter, in order, the coverage of every unit in the order of ``units``.
    """

    quarters: tuple[Coverage, ...]
    units: tuple[Coverage, ...]
    unit_quarters: tuple[tuple[str, tuple[Coverage, ...]], ...]
    latest: str
    people: tuple[PeopleRow, ...]
    people_in_training: Number
    people_matched: Number
    match_share: Number
    match_is_enough: bool
    qualifying_completions: Number
    classes: Number
    first_completions: Number
    people_never_trained: Number
    people_unknown: Number

    def of(self, quarter: str) -> Coverage:
        """Coverage of one quarter; ``KeyError`` if it is not there."""
        return {row.name: row for row in self.quarters}[quarter]


def gather(
    tables: ResultTables, complete: tuple[str, ...], names: Mapping[str, str], program: Program
) -> TrainingEvidence:
    """Coverage over all quarters; ``names`` gives each unit's name, ``complete`` the complete quarters."""
    table = PersonTime(tables.person_time)
    by_quarter = table.by("quarter", "phase", "lapsed")
    reasons = {str(row.quarter): str(row.reason) for row in tables.quarters.itertuples()}
    rows = tuple(
        _coverage(
            quarter,
            quarter,
            f"facility/{quarter}",
            {(k[1], bool(k[2])): t for k, t in by_quarter.items() if k[0] == quarter and k[3] == "handling"},
            "" if quarter in complete else reasons[quarter] or "incomplete",
        )
        for quarter in sorted(reasons)
    )
    latest = complete[-1] if complete else ""
    people = tables.training_people.sort_values("quarter")
    summary = tables.training_summary.iloc[0]

    def person_count(name: str) -> Number:
        return numbers.count(f"{name}/facility", int(summary[name]), "people")

    match_share = float(summary["match_share"])
    return TrainingEvidence(
        quarters=rows,
        units=_units(table, latest, names) if latest else (),
        unit_quarters=tuple((quarter, _units(table, quarter, names)) for quarter in complete),
        latest=latest,
        people=tuple(
            PeopleRow(
                quarter=str(row.quarter),
                with_hours=numbers.count(
                    f"people_with_hours/facility/{row.quarter}", int(str(row.people_with_hours)), "people"
                ),
                trained=numbers.count(f"people_trained/facility/{row.quarter}", int(str(row.people_trained)), "people"),
                lapsed=numbers.count(f"people_lapsed/facility/{row.quarter}", int(str(row.people_lapsed)), "people"),
            )
            for row in people.itertuples()
        ),
        people_in_training=person_count("people_in_training"),
        people_matched=person_count("people_matched"),
        match_share=numbers.share("match_share/facility", match_share),
        match_is_enough=match_share >= program.training.minimum_match_share,
        qualifying_completions=numbers.count(
            "qualifying_completions/facility", int(summary["qualifying_completions"]), "completions"
        ),
        classes=numbers.count("classes/facility", int(summary["classes"]), "classes"),
        first_completions=numbers.count("first_completions/facility", int(summary["first_completions"]), "completions"),
        people_never_trained=person_count("people_never_trained"),
        people_unknown=person_count("people_unknown"),
    )


def _coverage(name: str, label: str, place: str, tallies: Mapping[tuple[object, bool], Tally], reason: str) -> Coverage:
    by_status = dict.fromkeys(STATUSES, Tally())
    for (phase, lapsed), tally in tallies.items():
        status = str(phase)
        if phase == "after":
            status = "lapsed" if lapsed else "current"
        by_status[status] = by_status[status] + tally
    hours = [by_status[status].hours for status in STATUSES]
    whole = sum(by_status.values(), Tally()).hours
    if whole <= 0 and not reason:
        reason = "no hours worked"
    shares = () if reason else tuple(value / whole for value in hours)
    return Coverage(
        name=name,
        label=label,
        total=numbers.hours(f"hours/{place}", whole),
        hours=tuple(
            numbers.hours(f"hours/{place}/{status}", value) for status, value in zip(STATUSES, hours, strict=True)
        ),
        shares=tuple(
            numbers.share(f"hours_share/{place}/{status}", value)
            for status, value in zip(STATUSES, shares, strict=False)
        ),
        reason=reason,
    )


def _units(table: PersonTime, quarter: str, names: Mapping[str, str]) -> tuple[Coverage, ...]:
    by_unit = table.within((quarter,)).by("unit", "phase", "lapsed")
    return tuple(
        _coverage(
            unit,
            name,
            f"unit:{key_part(unit)}/{quarter}",
            {(k[1], bool(k[2])): t for k, t in by_unit.items() if k[0] == unit and k[3] == "handling"},
            "",
        )
        for unit, name in sorted(names.items(), key=lambda item: (item[1].casefold(), item[0]))
    )
