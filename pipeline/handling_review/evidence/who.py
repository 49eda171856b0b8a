"""Who is hurt, without who: job, time on the job, body part, kind of injury and hour, never one person's."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.measure import Rate, measure
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.tally import Tally
from handling_review.program import Program

KINDS = ("job", "tenure", "body_part", "nature", "hour")
WITH_HOURS = ("job", "tenure")  # of these the hours are known, so that a rate can be given
POOLED = "all others"
UNKNOWN = ("not given", "not known")
MOSTLY = 0.5  # share of the cases for which a group must be known before the largest is named
DRAWS, SEED = 2000, 301


@dataclass(frozen=True)
class GroupRow:
    """One group, or several small ones together (``members`` over 1). ``rate`` only where the hours are known."""

    label: str
    members: int
    cases: Number
    share: Number
    rate: Rate | None


@dataclass(frozen=True)
class Grouping:
    """One kind of group. ``is_mostly_known``: it is given for half of the cases; ``reason``: why it is not shown.

    The share itself is no published number: with it the few cases without a group could be taken out of a heap.
    """

    kind: str
    rows: tuple[GroupRow, ...]
    is_mostly_known: bool
    reason: str


@dataclass(frozen=True)
class Repeats:
    """People with two or more cases, and how many chance alone would give: mean and the range that 95 in 100 have."""

    people: Number
    expected: Number
    lower: Number
    upper: Number
    linked: Number
    is_more: bool
    is_fewer: bool


@dataclass(frozen=True)
class WhoEvidence:
    """Groups of the primary series over the complete quarters, and repeat injuries over the review."""

    series: str
    first: str
    last: str
    total: Number
    groupings: tuple[Grouping, ...]
    repeats: Repeats | None

    def of(self, kind: str) -> Grouping:
        """One kind of group."""
        return {grouping.kind: grouping for grouping in self.groupings}[kind]


def gather(tables: ResultTables, complete: tuple[str, ...], program: Program) -> WhoEvidence:
    """Groups over the complete quarters. A group of 1 to 4 cases (the threshold is a setting) is never shown alone."""
    series = program.analysis.series
    rows = tables.case_groups[tables.case_groups["quarter"].isin(list(complete))]
    hours = tables.staff_hours[tables.staff_hours["quarter"].isin(list(complete))]
    return WhoEvidence(
        series=series,
        first=complete[0] if complete else "",
        last=complete[-1] if complete else "",
        total=numbers.count(f"group_cases/facility/{series}", int(rows.loc[rows["kind"] == "job", series].sum())),
        groupings=tuple(_grouping(kind, rows, hours, series, program) for kind in KINDS),
        repeats=_repeats(tables.repeats, program),
    )


def _grouping(kind: str, rows: pd.DataFrame, hours: pd.DataFrame, series: str, program: Program) -> Grouping:
    own = rows[rows["kind"] == kind].groupby("value")[series].sum()
    worked = hours.groupby(kind)["hours"].sum() if kind in WITH_HOURS else pd.Series(dtype="float64")
    cases = {str(name): int(count) for name, count in own.items()}
    time = {str(name): float(value) for name, value in worked.items()}
    whole = sum(cases.values())
    missing = sum(count for name, count in cases.items() if name in UNKNOWN)
    known = whole > 0 and whole - missing >= MOSTLY * whole
    if whole == missing:
        return Grouping(kind, (), known, "not given for any case" if whole else "no case")
    if 0 < whole < program.thresholds.privacy_cell:
        return Grouping(kind, (), known, f"fewer than {program.thresholds.privacy_cell} cases in all")
    names = sorted({*cases, *time}, key=lambda name: _place(kind, name))
    groups = pooled([(name, cases.get(name, 0)) for name in names], program.thresholds.privacy_cell)
    if groups is None:
        return Grouping(kind, (), known, "too few cases to be shown by group")
    return Grouping(
        kind, tuple(_row(kind, members, cases, time, whole, series, program) for members in groups), known, ""
    )


def _place(kind: str, name: str) -> tuple[bool, int, str]:
    """Alphabetical, except that time goes by its order; what is not known stands last."""
    order = {"first 3 months": 0, "3 to 12 months": 1, "1 to 2 years": 2, "2 years and more": 3}
    return name in UNKNOWN, order.get(name, 9) if kind == "tenure" else 0, name


def pooled(groups: Sequence[tuple[str, int]], fewest: int) -> list[tuple[str, ...]] | None:
    """Groups (name, cases) so joined that no count from 1 to ``fewest - 1`` can be read off; ``None`` if none can be.

    Small groups go together; while what stands in that heap could still be told from its total, the smallest of the
    others joins it. Groups without a case stay: nobody is in them.
    """
    heap = [(name, count) for name, count in groups if 0 < count < fewest]
    kept = [(name, count) for name, count in groups if not 0 < count < fewest]
    while heap and not _hides(heap, fewest):
        others = [item for item in kept if item[1]]
        if not others:
            return None
        smallest = min(others, key=lambda item: item[1])
        kept.remove(smallest)
        heap.append(smallest)
    joined = {name for name, _ in heap}
    found: list[tuple[str, ...]] = [(name,) for name, _ in kept]
    return [*found, tuple(name for name, _ in groups if name in joined)] if heap else found


def _hides(heap: Sequence[tuple[str, int]], fewest: int) -> bool:
    """Whether the total leaves each group in the heap more than one possible count.

    A reader may know how many groups are small and how many are not: a total at the least or the most that they can
    have together would give every one of them away.
    """
    large = sum(count >= fewest for _, count in heap)
    small, total = len(heap) - large, sum(count for _, count in heap)
    at_least, at_most = small + large * fewest, small * (fewest - 1)
    return len(heap) > 1 and fewest <= total and at_least < total and (large > 0 or total < at_most)


def _row(
    kind: str,
    members: tuple[str, ...],
    cases: dict[str, int],
    time: dict[str, float],
    whole: int,
    series: str,
    program: Program,
) -> GroupRow:
    label = members[0] if len(members) == 1 else POOLED
    own = sum(cases.get(name, 0) for name in members)
    place = f"group:{kind}:{key_part(label)}"
    worked = math.fsum(time.get(name, 0.0) for name in members)
    has_rate = kind in WITH_HOURS and worked > 0 and not set(members) & set(UNKNOWN) and label != POOLED
    return GroupRow(
        label=label,
        members=len(members),
        cases=numbers.count(f"cases/{place}/{series}", own),
        share=numbers.share(f"group_share/{place}/{series}", own / whole if whole else 0.0),
        rate=measure(place, series, Tally(own, worked), program, hide_few=True) if has_rate else None,
    )


def _by_chance(weights: np.ndarray[Any, np.dtype[np.float64]], cases: int) -> np.ndarray[Any, np.dtype[np.int64]]:
    """How many people have two cases or more in each draw of ``cases`` cases, thrown on people by their weights."""
    dice = np.random.default_rng(SEED)
    upto = np.cumsum(weights / weights.sum())
    upto /= upto[-1]
    counts = []
    for _ in range(DRAWS):
        drawn = upto.searchsorted(np.sort(dice.random(cases)), side="right")  # looked up in order: the next is near
        same = drawn[1:] == drawn[:-1]
        first = same.copy()
        first[1:] &= ~same[:-1]  # the second case of a person starts a repeat; the third belongs to it
        counts.append(int(first.sum()))
    return np.array(counts)


def _repeats(table: pd.DataFrame, program: Program) -> Repeats | None:
    """Repeat injuries against cases thrown on people by their hours and the rates of the units they worked on."""
    seen = table[table["kind"] == "seen"]
    expected = table[table["kind"] == "expected"]
    linked = int((seen["cases"] * seen["people"]).sum())
    if linked < program.thresholds.privacy_cell or expected.empty:
        return None
    people = int(seen.loc[seen["cases"] >= 2, "people"].sum())
    weights = np.repeat(expected["cases"].to_numpy(dtype=np.float64), expected["people"].to_numpy(dtype=np.int64))
    if linked == 0 or not weights.sum() > 0:
        return None
    counts = _by_chance(weights, linked)
    low, high = (float(value) for value in np.quantile(counts, (0.025, 0.975), method="inverted_cdf"))
    place = "repeats/handling"
    return Repeats(
        people=numbers.few(f"people_twice/{place}", people, program.thresholds.privacy_cell, "people"),
        expected=numbers.decimal(f"people_twice_by_chance/{place}", float(counts.mean()), "people"),
        lower=numbers.count(f"people_twice_lower/{place}", int(low), "people"),
        upper=numbers.count(f"people_twice_upper/{place}", int(high), "people"),
        linked=numbers.count(f"linked_cases/{place}", linked),
        is_more=people > high,
        is_fewer=people < low,
    )
