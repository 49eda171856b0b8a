"""One attack on one wide copy: which true counts are small, and which of them the attacker works out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

from handling_review.program import Program
from whole import wide_facilities
from whole.wide_attack import Attack

INSIDE = (("recordable", "dart"), ("dart", "days_away"), ("recordable", "handling"))


Terms = dict[str, float]
Counts = dict[str, tuple[Terms, int]]


def small_counts(attack: Attack, truth: Mapping[tuple[str, str], int], complete: tuple[str, ...]) -> Counts:
    """Every count of people from 1 to 4 that the page's tables are about, as the attacker's sum and its true value."""
    windows = {year: [q for q in complete if q.startswith(year)] for year in attack.years}
    windows["Whole period"] = list(complete)
    four = next((name.split("/", 1)[1] for name in attack.rows if "/Four" in name), "")
    found: Counts = {}
    if four:
        at = complete.index(four.removeprefix("Four quarters to "))
        windows[four] = list(complete[at - 3 : at + 1])
        found |= _left_of_years(attack, truth, windows, four)
    for label, quarters in windows.items():
        true = {series: sum(truth[series, q] for q in quarters) for series in wide_facilities.SERIES}
        for series in wide_facilities.SERIES:
            found[f"{series}/{label}"] = attack.window(series, label), true[series]
        for wide, inner in INSIDE:
            terms = attack.window(wide, label) | dict.fromkeys(attack.window(inner, label), -1.0)
            found[f"{wide} not {inner}/{label}"] = terms, true[wide] - true[inner]
    for (kind, name), count in truth.items():
        if kind == "unit" and f"unit/{name}" in attack.names:
            found[f"unit/{name}"] = {f"unit/{name}": 1.0}, count
    if attack.sides:
        rest = sum(truth["handling", q] for q in complete) - sum(attack.sides.values())
        found["on neither side"] = {"rest": 1.0}, int(rest)
        found |= {f"side {name}": ({}, int(count)) for name, count in attack.sides.items()}
    return {name: (terms, count) for name, (terms, count) in found.items() if 0 < count < 5}


def _left_of_years(
    attack: Attack, truth: Mapping[tuple[str, str], int], windows: Mapping[str, list[str]], four: str
) -> Counts:
    """What is left of a year without the last four quarters."""
    found: Counts = {}
    for year, series in product(attack.years, wide_facilities.SERIES):
        left = [q for q in windows[year] if q not in windows[four]]
        terms = {k: 1.0 for k in attack.window(series, year) if k not in attack.window(series, four)}
        if terms and left:
            found[f"{series}/{year} without {four}"] = terms, sum(truth[series, q] for q in left)
    return found


def worked_out(attack: Attack, small: Counts) -> tuple[list[str], list[str]]:
    """Small counts that the attacker knows exactly, and those that it knows to be small.

    Where the limits give a count away they are asked for again without the solver's presolve, which can end short of
    them; a table that fits the page and says otherwise is shown then.
    """
    exact, small_for_sure = [], []
    for name, (terms, true) in small.items():
        low, high = attack.can_be(terms) if terms else (true, true)
        if terms and (_gives_away(low, high) or not low <= true <= high):
            low, high = attack.can_be(terms, presolve=False)
        assert low <= true <= high, (name, low, true, high)
        if low == high:
            exact.append(name)
        if low >= 1 and high <= 4:
            small_for_sure.append(name)
    return exact, small_for_sure


def _gives_away(low: float, high: float) -> bool:
    return low == high or (low >= 1 and high <= 4)


@dataclass(frozen=True)
class Tried:
    """What came of an attack on one drawn facility."""

    small: int
    worked_out: tuple[str, ...]
    known_to_be_small: tuple[str, ...]
    hidden_data: tuple[str, ...]
    exposed: tuple[str, ...]
    shown: int
    not_shown: int
    answer: str


def attacked(seed: int, program: Program, *, complementary: bool = True) -> Tried:
    tables = wide_facilities.drawn(seed)
    review = wide_facilities.reviewed(tables, program)
    html, found = wide_facilities.page(tables, review, complementary=complementary)
    attack = Attack(html)
    small = small_counts(attack, wide_facilities.truth(tables), review.rates.complete())
    exact, sure = worked_out(attack, small)
    is_shown = [printed != "not shown*" for printed, _ in attack.rows.values()]
    return Tried(
        small=len(small),
        worked_out=tuple(exact),
        known_to_be_small=tuple(sure),
        hidden_data=tuple(attack.hidden_data()),
        exposed=found.suppression.exposed,
        shown=sum(is_shown),
        not_shown=len(is_shown) - sum(is_shown),
        answer=found.answer,
    )
