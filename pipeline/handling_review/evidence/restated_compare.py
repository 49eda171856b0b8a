"""Published numbers of the last review set against this one's, and why those that moved did, proven from the rows."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any

from handling_review.evidence import restated_keys as keys
from handling_review.evidence.numbers import Number
from handling_review.evidence.quarters import year_of
from handling_review.evidence.restated_keys import FixedPeriod, fixed_period
from handling_review.history.book import PastReview, Shown
from handling_review.history.cases import CountedCase
from handling_review.history.differences import ChangedSetting, Differences, RowChange

FIRST, COMPARED, NOT_COMPARABLE = "first", "compared", "not_comparable"
SETTING, TOOL, MAPPING, NOT_KNOWN, ROWS_GONE = "setting", "tool", "mapping", "not_known", "rows_gone"
_TOLERANCE = 1e-9
_HOURS_TOLERANCE = 1e-3
_OUTCOMES = {
    "deaths": "death",
    "days_away_cases": "days_away",
    "restricted_cases": "restricted_or_transfer",
    "other_cases": "other_recordable",
}
_UNITS = ("unit_aliases", "unit_changes")
_ABOUT_CASES = ("incidents.", "codes.incidents", "columns.incidents", "dates.incidents", *_UNITS)
_ABOUT_HOURS = ("pay_codes.", "hours.", "codes.hours", "columns.hours", "dates.hours", "decimal_comma.hours", *_UNITS)
_ABOUT_TRAINING = ("training.", "ids.", "codes.training", "columns.training", "dates.training", *_ABOUT_HOURS)
_ABOUT_RANGES = ("analysis.confidence", "thresholds.unreliable_below", "thresholds.unstable_below")
_ABOUT = {
    keys.CASES: _ABOUT_CASES,
    keys.HOURS: _ABOUT_HOURS,
    keys.RATE: (*_ABOUT_CASES, *_ABOUT_HOURS, *_ABOUT_RANGES),
    keys.STATUS: _ABOUT_TRAINING,
    keys.PEOPLE: _ABOUT_TRAINING,
    keys.REPORTS: _ABOUT_CASES,
    keys.AUDITS: ("codes.observations", "columns.observations", "dates.observations", *_UNITS, *_ABOUT_RANGES),
    keys.POSTED: (*_ABOUT_CASES, *_ABOUT_HOURS),
}
_ORDINARY = (  # settings that move no published number of a finished period, or move on by themselves
    *("facility.", "files.", "money.", "proposals", "charts.", "store.", "jobs", "analysis.design"),
    *("analysis.target", "review.as_of", "review.end", "review.log_complete", "review.hours_complete"),
    "thresholds.privacy",
)


@dataclass(frozen=True)
class Reason:
    """Why a number moved: the kind, how many cases or rows it is, and how many hours it brings."""

    kind: str
    cases: int = 0
    hours: float = 0.0
    rows: int = 0


@dataclass(frozen=True)
class Item:
    """One restated number: what it was and is (unit, value, as shown; None: not given), and why."""

    key: str
    then: Shown | None
    now: Shown | None
    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class Changes:
    """What changed since the last review, as plain values that are kept with the review.

    ``compared``: how many cases, hours, rates, people, reports and audits were set side by side, limits not counted.
    ``why`` says why nothing can be compared. ``totals``: what the rows of the compared quarters brought, facility-wide.
    """

    status: str
    run_id: str = ""
    as_of: str = ""
    compared: int = 0
    items: tuple[Item, ...] = ()
    totals: tuple[Reason, ...] = ()
    settings: tuple[ChangedSetting, ...] = ()
    tool: tuple[str, str] | None = None
    why: str = ""
    starts: tuple[str, str] | None = None
    units_gone: tuple[str, ...] = ()
    units_new: tuple[str, ...] = ()


@dataclass(frozen=True)
class Complete:
    """Complete quarters with their first and last day, and complete quarters of units."""

    quarters: Mapping[str, tuple[str, str]]
    units: frozenset[tuple[str, str]]
    start: str


def complete_of(about: Mapping[str, Any]) -> Complete:
    """The complete quarters that a review was kept with."""
    told = about["complete"]
    return Complete(
        {quarter: (days[0], days[1]) for quarter, days in told["quarters"].items()},
        frozenset((unit, quarter) for unit, quarter in told["units"]),
        str(about["days"]["start"]),
    )


def compare(
    last: PastReview, then: Mapping[str, Shown], now: Iterable[Number], complete: Complete, differences: Differences
) -> Changes:
    """Every number of a fixed period that both reviews published as complete, and the reasons of those that moved."""
    before = complete_of(last.about)
    common = sorted(before.quarters.keys() & complete.quarters.keys())
    changed = tuple(one for one in differences.settings if not one.name.startswith(_ORDINARY))
    basis = Changes(
        status=NOT_COMPARABLE,
        run_id=last.run_id,
        as_of=last.as_of.isoformat(),
        settings=changed,
        tool=differences.tool,
        starts=None if before.start == complete.start else (before.start, complete.start),
    )
    if not common:
        return replace(basis, why="no_common_quarter")
    if any(before.quarters[q] != complete.quarters[q] for q in common):
        return replace(basis, why="other_quarters")
    proof = _Proof(_relabelled(differences), before, complete, frozenset(common))
    shown = {number.key: (number.unit, number.value, number.shown) for number in now}
    items, compared = [], 0
    for key in sorted(then.keys() | shown.keys()):
        period = fixed_period(key)
        if period is None or not proof.is_common(period, key in then, key in shown):
            continue
        compared += not (period.is_limit or period.is_training)
        if not _is_same(then.get(key), shown.get(key)):
            reasons = proof.reasons(period, _moved(then.get(key), shown.get(key)))
            items.append(Item(key, then.get(key), shown.get(key), reasons))
    gone, fresh = _units(before), _units(complete)
    return replace(
        basis,
        status=COMPARED,
        compared=compared,
        items=tuple(items),
        totals=proof.totals(),
        units_gone=tuple(sorted(gone - fresh)),
        units_new=tuple(sorted(fresh - gone)),
    )


def _units(complete: Complete) -> set[str]:
    return {unit for unit, _ in complete.units}


def _is_same(then: Shown | None, now: Shown | None) -> bool:
    if then is None or now is None:
        return then == now
    if then[0] != now[0] or then[2] != now[2]:
        return False
    one, other = then[1], now[1]
    if one is None or other is None or math.isinf(one) or math.isinf(other):
        return one == other
    return math.isclose(one, other, rel_tol=_TOLERANCE, abs_tol=_TOLERANCE)


def _moved(then: Shown | None, now: Shown | None) -> float | None:
    """By how much the value moved; None where one side gives none."""
    if then is None or now is None or then[1] is None or now[1] is None:
        return None
    return now[1] - then[1]


def _relabelled(differences: Differences) -> Differences:
    """Rows that differ though their file is the same to the byte were read differently: a matter of the mapping."""

    def rows(file: str, listed: tuple[RowChange, ...]) -> tuple[RowChange, ...]:
        if file not in differences.same_files:
            return listed
        return tuple(r if r.kind in ("unit_map", "pay_codes") else replace(r, kind=MAPPING) for r in listed)

    cases = differences.cases
    if "incidents" in differences.same_files:
        cases = tuple(c if c.kind in ("unit_map", SETTING) else replace(c, kind=MAPPING) for c in cases)
    return replace(
        differences,
        cases=cases,
        hours=rows("hours", differences.hours),
        training=rows("training", differences.training),
        audits=rows("observations", differences.audits),
    )


class _Proof:
    """The differences, asked for one place and time after the other."""

    def __init__(self, differences: Differences, then: Complete, now: Complete, common: frozenset[str]) -> None:
        self._of = differences
        self._then = then
        self._now = now
        self._common = common
        self._by_place: dict[tuple[str | None, str | None], list[RowChange]] = {}
        for change in differences.hours:
            self._by_place.setdefault((change.unit, change.quarter), []).append(change)
        self._training: dict[tuple[str | None, str | None], list[RowChange]] = {}
        for row in differences.training:
            self._training.setdefault((row.unit, row.quarter), []).append(row)

    def is_common(self, period: FixedPeriod, was_given: bool, is_given: bool) -> bool:
        """Whether both reviews published that place and time as complete."""
        if period.calendar is not None:
            return was_given and is_given
        if period.year is not None:
            then, now = ({q for q in side.quarters if year_of(q) == period.year} for side in (self._then, self._now))
            return then == now and bool(then)
        if not self._common.issuperset(period.quarters):
            return False
        if period.unit is None:
            return True
        pairs = {(period.unit, quarter) for quarter in period.quarters}
        return pairs <= self._then.units and pairs <= self._now.units

    def reasons(self, period: FixedPeriod, moved: float | None) -> tuple[Reason, ...]:
        """Why a number of that place and time moved."""
        if not self._of.has_rows:
            return (Reason(ROWS_GONE), *self._settled(period, needed=False))
        found: list[Reason] = []
        if period.kind in (keys.CASES, keys.RATE, keys.REPORTS) or self._is_posted_cases(period):
            found += self._case_reasons(period)
        if period.kind in (keys.HOURS, keys.RATE, keys.STATUS, keys.PEOPLE) or self._is_posted_hours(period):
            found += self._hours_reasons(period)
        if period.kind in (keys.STATUS, keys.PEOPLE):
            found += _rows_of(self._training.get((period.unit, q), []) for q in period.quarters)
        if period.kind == keys.AUDITS:
            found += _rows_of([c for c in self._of.audits if c.quarter == q] for q in period.quarters)
        if period.family in ("posted", "posted_gap") and not found:
            found.append(Reason("changed_posted", rows=1))
        if period.kind == keys.HOURS and moved is not None and found:
            left = moved - sum(reason.hours for reason in found)
            return (*found, *(self._settled(period, hours=left) if abs(left) > _HOURS_TOLERANCE else ()))
        if period.is_training or period.is_limit or not found:
            return (*found, *self._settled(period, needed=not found))
        return tuple(found)

    def totals(self) -> tuple[Reason, ...]:
        """What the rows of the common quarters brought in the whole facility: cases first, then hours."""
        cases: dict[str, int] = {}
        for change in self._of.cases:
            if any(self._quarter(side) in self._common for side in (change.then, change.now) if side):
                cases[change.kind] = cases.get(change.kind, 0) + 1
        hours: dict[str, list[RowChange]] = {}
        for row in self._of.hours:
            if row.unit is None and row.quarter in self._common:
                hours.setdefault(row.kind, []).append(row)
        return (
            *(Reason(kind, cases=count) for kind, count in sorted(cases.items())),
            *(
                Reason(kind, hours=sum(c.hours for c in listed), rows=sum(c.rows for c in listed))
                for kind, listed in sorted(hours.items())
            ),
        )

    @staticmethod
    def _is_posted_cases(period: FixedPeriod) -> bool:
        return period.kind == keys.POSTED and period.family != "posted" and period.series != "hours"

    @staticmethod
    def _is_posted_hours(period: FixedPeriod) -> bool:
        return period.kind == keys.POSTED and period.family != "posted" and period.series == "hours"

    def _quarter(self, case: CountedCase) -> str:
        day = case.day.isoformat()
        return next((q for q, (first, last) in self._now.quarters.items() if first <= day <= last), "")

    def _is_in(self, period: FixedPeriod) -> Callable[[CountedCase | None], bool]:
        """Whether a case counts in the number."""

        def counts(case: CountedCase | None) -> bool:
            if case is None or (period.unit is not None and case.unit != period.unit):
                return False
            if period.calendar is not None:
                return case.day.year == period.calendar and case.outcome == _OUTCOMES.get(period.series)
            quarter = self._quarter(case)
            if not (year_of(quarter) == period.year if period.year and quarter else quarter in period.quarters):
                return False
            return not period.series or period.series in case.series()

        return counts

    def _case_reasons(self, period: FixedPeriod) -> list[Reason]:
        counts = self._is_in(period)
        found: dict[str, int] = {}
        is_any = period.kind == keys.REPORTS or period.family.startswith(("dart_share", "unclassified_share"))
        for change in self._of.cases:
            was, is_now = counts(change.then), counts(change.now)
            if was != is_now or (is_any and was):
                found[change.kind] = found.get(change.kind, 0) + 1
        return [Reason(kind, cases=count) for kind, count in sorted(found.items())]

    def _hours_reasons(self, period: FixedPeriod) -> list[Reason]:
        if period.calendar is not None:
            listed = [c for c in self._of.hours if c.unit is None and c.year == period.calendar]
        elif period.year is not None:
            quarters = [q for q in self._common if year_of(q) == period.year]
            listed = [c for q in quarters for c in self._by_place.get((None, q), [])]
        else:
            listed = [c for q in period.quarters for c in self._by_place.get((period.unit, q), [])]
        return _rows_of([listed])

    def _settled(self, period: FixedPeriod, *, needed: bool = True, hours: float = 0.0) -> tuple[Reason, ...]:
        """What is left once the rows are told apart: settings, else the version, else nothing that is known."""
        if any(one.name.startswith(_ABOUT[period.kind]) for one in self._of.settings):
            return (Reason(SETTING, hours=hours),)
        if not needed:
            return ()
        return (Reason(TOOL if self._of.tool else NOT_KNOWN, hours=hours),)


def _rows_of(listed: Iterable[list[RowChange]]) -> list[Reason]:
    found: dict[str, Reason] = {}
    for change in (one for part in listed for one in part):
        before = found.get(change.kind, Reason(change.kind))
        found[change.kind] = replace(before, rows=before.rows + change.rows, hours=before.hours + change.hours)
    return [found[kind] for kind in sorted(found)]


def as_plain(changes: Changes) -> dict[str, Any]:
    """The changes as plain values."""
    return asdict(changes)


def from_plain(plain: Mapping[str, Any]) -> Changes:
    """The changes from their plain values."""

    def shown(value: Any) -> Shown | None:
        return None if value is None else (value[0], value[1], value[2])

    def reasons(listed: Any) -> tuple[Reason, ...]:
        return tuple(Reason(**one) for one in listed)

    def pair(value: Any) -> tuple[str, str] | None:
        return None if value is None else (value[0], value[1])

    return Changes(
        **{
            **plain,
            "items": tuple(
                Item(one["key"], shown(one["then"]), shown(one["now"]), reasons(one["reasons"]))
                for one in plain["items"]
            ),
            "totals": reasons(plain["totals"]),
            "settings": tuple(ChangedSetting(**one) for one in plain["settings"]),
            "tool": pair(plain["tool"]),
            "starts": pair(plain["starts"]),
            "units_gone": tuple(plain["units_gone"]),
            "units_new": tuple(plain["units_new"]),
        }
    )


def complete_now(quarters: Iterable[tuple[str, date, date]], units: Iterable[tuple[str, str]], start: date) -> Complete:
    """The complete quarters of the review that is being built."""
    return Complete(
        {quarter: (first.isoformat(), last.isoformat()) for quarter, first, last in quarters},
        frozenset(units),
        str(start),
    )
