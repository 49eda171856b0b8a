"""Cases of the last review set against those of this one: which came late, which changed, which are gone, and how."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

Row = Mapping[str, Any]

_BESIDE = frozenset(  # what stands beside a case's own cells in a row
    {"record", "line", "file_no", "counted_unit", "counted_outcome", "is_handling", "is_recordable", "is_dart", "fate"}
)
_ABOUT = {  # what a change of these columns is called; the first that differs names the change
    "changed_outcome": ("outcome", "tick_death", "tick_days_away", "tick_restricted", "tick_other"),
    "changed_handling": ("handling_related", "activity", "event_type", "source_person"),
    "changed_date": ("event_date",),
    "changed_unit": ("unit",),
    "changed_report": ("reported_date",),
}
OTHER = "changed_other"


@dataclass(frozen=True)
class CountedCase:
    """Where and as what a case was counted; it names nobody."""

    unit: str
    day: date
    outcome: str
    is_handling: bool | None
    is_recordable: bool
    is_dart: bool

    def series(self) -> frozenset[str]:
        """The series that it counts in."""
        found = set()
        if self.is_recordable:
            found |= {"recordable"}
            if self.is_handling is None:
                found |= {"unclassified"}
            else:
                found |= {"handling" if self.is_handling else "non_handling"}
        if self.is_dart:
            found |= {"dart"}
        return frozenset(found | ({self.outcome} & {"days_away", "first_aid"}))


@dataclass(frozen=True)
class CaseChange:
    """One case that the two reviews do not count alike; ``None`` on the side that does not count it.

    ``kind``: late_cases, withdrawn_cases, one of ``changed_*``, unit_map, or setting where its own cells are the same.
    """

    kind: str
    then: CountedCase | None
    now: CountedCase | None


def changes(then: Sequence[Row], now: Sequence[Row], unit_map_then: Mapping[str, str]) -> tuple[CaseChange, ...]:
    """What became of each case. Rows: the accepted cells, and how each review counted them."""
    used_then = [row for row in then if row["fate"] == "used"]
    used_now = [row for row in now if row["fate"] == "used"]
    pairs, left_then, left_now = _paired(used_then, used_now)
    idle_now = Counter(_content(row) for row in now if row["fate"] != "used")
    idle_then = Counter(_content(row) for row in then if row["fate"] != "used")
    found = [_pair_change(one, other, unit_map_then) for one, other in pairs]
    found += [CaseChange(_gone(row, idle_now, "withdrawn_cases"), _counted(row), None) for row in left_then]
    found += [CaseChange(_gone(row, idle_then, "late_cases"), None, _counted(row)) for row in left_now]
    return tuple(one for one in found if one is not None)


def _gone(row: Row, idle: Counter[Hashable], otherwise: str) -> str:
    """A row that stands in both exports and is counted in one only is a matter of settings."""
    content = _content(row)
    if idle[content]:
        idle[content] -= 1
        return "setting"
    return otherwise


def _pair_change(then: Row, now: Row, unit_map_then: Mapping[str, str]) -> CaseChange | None:
    before, after = _counted(then), _counted(now)
    differing = {name for name in then if name not in _BESIDE and then[name] != now[name]}
    if not differing:
        if before == after:
            return None
        is_map = before.unit != after.unit and unit_map_then.get(str(then["unit"])) != after.unit
        return CaseChange("unit_map" if is_map else "setting", before, after)
    for kind, columns in _ABOUT.items():
        if differing.intersection(columns):
            return CaseChange(kind, before, after)
    return CaseChange(OTHER, before, after)


def _counted(row: Row) -> CountedCase:
    return CountedCase(
        unit=str(row["counted_unit"]),
        day=date.fromisoformat(str(row["event_date"])[:10]),
        outcome=str(row["counted_outcome"]),
        is_handling=None if row["is_handling"] is None else bool(row["is_handling"]),
        is_recordable=bool(row["is_recordable"]),
        is_dart=bool(row["is_dart"]),
    )


def _content(row: Row) -> Hashable:
    return tuple(value for name, value in row.items() if name not in _BESIDE)


def _known(*values: Any) -> Hashable | None:
    return None if any(value is None for value in values) else tuple(str(value) for value in values)


_SAME: tuple[Callable[[Row], Hashable | None], ...] = (
    _content,
    lambda row: _known(row["case_number"], str(row["event_date"])[:4]),
    lambda row: _known(row["case_number"], row["employee_id"]),
    lambda row: _known(row["employee_id"], row["event_date"]),
    lambda row: _known(row["case_number"]),
)


def _paired(then: Iterable[Row], now: Iterable[Row]) -> tuple[list[tuple[Row, Row]], list[Row], list[Row]]:
    """Rows of the same case: alike in every cell first, then by case number and year, and so on."""
    pairs: list[tuple[Row, Row]] = []
    left_then, left_now = list(then), list(now)
    for same in _SAME:
        waiting: dict[Hashable, list[Row]] = defaultdict(list)
        for row in left_then:
            if (key := same(row)) is not None:
                waiting[key].append(row)
        taken: set[int] = set()
        still = []
        for row in left_now:
            key = same(row)
            if key is not None and waiting.get(key):
                other = waiting[key].pop(0)
                pairs.append((other, row))
                taken.add(id(other))
            else:
                still.append(row)
        left_now = still
        left_then = [row for row in left_then if id(row) not in taken]
    return pairs, left_then, left_now
