"""Regression to the mean: what units chosen after a bad spell would have gained with no program at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handling_review.evidence import numbers
from handling_review.evidence.measure import Rate, measure
from handling_review.evidence.numbers import Number
from handling_review.evidence.panel import NOT_STARTED, STARTED
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tally import Tally
from handling_review.program import Program
from handling_review.stats import shrinkage

SPELL_QUARTERS = 4  # the record that a choice is usually made by: the last year; common practice, no source
FEWEST_UNITS = 3


@dataclass(frozen=True)
class ChanceFall:
    """Units that started first, against the others, over the record before the first start.

    ``is_bad_spell`` is true when the rate of the early units was above that of the rest in that record.
    ``expected_ratio`` is the rate to expect of them next over the recorded one, with no program (1: no such effect;
    0.8: a fall by 20 % would come by itself); ``observed_ratio`` what was seen after they started. ``reason`` says why
    there is nothing to say.
    """

    quarters: tuple[str, ...]
    early_units: tuple[str, ...]
    early: Rate | None
    rest: Rate | None
    is_bad_spell: bool
    expected_ratio: Number | None
    observed_ratio: Number | None
    reason: str


def gather(strata: Strata, program: Program) -> ChanceFall:
    """For the primary series: were the units that started first chosen after a bad spell?"""
    series = program.analysis.series
    panel = strata.panel(series)
    nothing = ChanceFall((), (), None, None, False, None, None, "")
    starts = {unit: at for unit, at in strata.starts.items() if at > 0}
    if not starts:
        return _without(nothing, "no unit starts inside the period")
    first = min(starts.values())
    spell = range(max(0, first - SPELL_QUARTERS), first)
    middle = float(np.median(sorted(starts.values())))
    early = tuple(unit for unit in strata.units if unit in starts and starts[unit] <= middle)
    in_spell = np.isin(panel.quarter, list(spell)) & (panel.state == NOT_STARTED)
    n = len(strata.units)
    events = np.bincount(panel.unit[in_spell], panel.events[in_spell], n)
    hours = np.bincount(panel.unit[in_spell], panel.hours[in_spell], n)
    chosen = np.array([unit in early for unit in strata.units])
    known = hours > 0
    if not spell or known.sum() < FEWEST_UNITS or not (known & chosen).any() or not (known & ~chosen).any():
        return _without(nothing, "too few units have a record before the first start, or all started together")
    labels = strata.labels()
    quarters = tuple(labels[i] for i in spell if labels[i] in strata.complete)
    place = "facility/before_first_start"
    sides = [
        measure(f"{place}/{name}", series, Tally(int(events[rows].sum()), round(float(hours[rows].sum()), 4)), program)
        for name, rows in (("early", known & chosen), ("rest", known & ~chosen))
    ]
    found = ChanceFall(quarters, early, sides[0], sides[1], False, None, None, "")
    if not events[known & chosen].sum():
        return _without(found, "the units that started first had no case before")
    shrunk = shrinkage.regression_to_mean(events[known], hours[known], chosen[known])
    after = (panel.state == STARTED) & chosen[panel.unit]
    observed = None
    if panel.hours[after].sum() > 0:
        rate = panel.events[after].sum() * 200_000 / panel.hours[after].sum()
        observed = numbers.ratio(f"chance_observed_ratio/{place}", float(rate) / shrunk.observed_per_200k)
    rate_rest = events[known & ~chosen].sum() / hours[known & ~chosen].sum()
    rate_early = events[known & chosen].sum() / hours[known & chosen].sum()
    return ChanceFall(
        quarters=quarters,
        early_units=early,
        early=sides[0],
        rest=sides[1],
        is_bad_spell=bool(rate_early > rate_rest),
        expected_ratio=numbers.ratio(f"chance_expected_ratio/{place}", shrunk.ratio),
        observed_ratio=observed,
        reason="",
    )


def _without(found: ChanceFall, reason: str) -> ChanceFall:
    return ChanceFall(found.quarters, found.early_units, found.early, found.rest, False, None, None, reason)
