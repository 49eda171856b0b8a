"""Which design leads, what it says, and that the choice is blind to the side on which the cases fell."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from handling_review.evidence import answer, before_after, designs, designs_by_person, rates
from handling_review.evidence.ladder import NO_RATIO, rung
from handling_review.evidence.panel import (
    ADJUSTED,
    BEFORE_AFTER,
    LADDER,
    NO_CASE,
    NOT_STARTED,
    STARTED,
    STARTING,
    Designed,
    Panel,
    Personal,
)
from handling_review.evidence.strata_table import Strata
from spec import made_up_tables as made_up

QUARTERS = 10


def panel(seed: int, starts: tuple[int | None, ...], cases: float) -> Panel:
    """Units of like size; a start of ``None`` is a comparison unit."""
    dice = np.random.default_rng(seed)
    unit, quarter = np.repeat(np.arange(len(starts)), QUARTERS), np.tile(np.arange(QUARTERS), len(starts))
    begins = np.array([np.inf if start is None else start for start in starts])[unit]
    state = np.where(quarter < begins, NOT_STARTED, np.where(quarter == begins, STARTING, STARTED))
    hours = dice.uniform(15_000, 30_000, unit.size).round(2)
    return Panel(unit, quarter, state, np.isinf(begins), hours, dice.poisson(cases, unit.size).astype(float))


def moved_within_units(whole: Panel, dice: np.random.Generator) -> Panel:
    """The same cases of each unit on other quarters; the roll-out quarters of the facility keep theirs.

    So the totals of every unit and of every design stay as they are, and the sides do not.
    """
    events = whole.events.copy()
    begun = ~whole.is_comparison & (whole.state != NOT_STARTED)
    waiting = ~whole.is_comparison & (whole.state != STARTED)
    first, last = whole.quarter[begun].min(), whole.quarter[waiting].max()
    for unit in np.unique(whole.unit):
        rows = np.flatnonzero((whole.unit == unit) & ((whole.quarter < first) | (whole.quarter > last)))
        events[rows] = dice.permutation(events[rows])
    return replace(whole, events=events)


def personal(seed: int) -> Personal:
    dice = np.random.default_rng(seed)
    hours1, hours0 = dice.uniform(1000, 9000, 20).round(2), dice.uniform(1000, 9000, 20).round(2)
    counts = [dice.poisson(3, 20).astype(float) for _ in range(4)]
    return Personal(counts[0], hours1, counts[1], hours0, counts[2], counts[3], years_apart=1.5)


@pytest.mark.parametrize("cases", [0.6, 2.0, 8.0])
@pytest.mark.parametrize("starts", [(2, 3, 4, None), (3, 4, 5, 6), (2, 2, None, None), (4, 4, 4, 4)])
def test_moving_the_cases_between_the_sides_does_not_move_the_choice(
    starts: tuple[int | None, ...], cases: float
) -> None:
    whole, dice = panel(11, starts, cases), np.random.default_rng(12)
    first = designs.all_designs(whole, personal(1), 0.95)
    chosen = designs.choose_primary(first)
    sides, compared = set(), 0
    for _ in range(25):
        moved = moved_within_units(whole, dice)
        swapped = personal(1)
        swapped = replace(swapped, events1=swapped.events0, events0=swapped.events1)
        other = designs.all_designs(moved, swapped, 0.95)
        if {n: d.reason for n, d in other.items()} != {n: d.reason for n, d in first.items()}:
            continue  # a design that lost its last case on one side is gone, whoever looks
        compared += 1
        sides.add(float(moved.events[moved.state == STARTED].sum()))
        assert designs.choose_primary(other) == chosen
        for name, item in other.items():
            assert item.expected_error == pytest.approx(first[name].expected_error), name
    assert compared >= 10
    assert len(sides) > 3, "the cases did move between the sides"


def test_without_another_start_or_a_comparison_unit_the_yearly_change_is_all_there_is() -> None:
    assert designs.choose_primary(designs.all_designs(panel(3, (4, 4, 4), 8.0), personal(2), 0.95)) == ADJUSTED
    few = designs.all_designs(panel(3, (0, 0, 0), 8.0), personal(2), 0.95)
    assert few[ADJUSTED].reason == "there are no hours on one of the two sides"
    assert designs.choose_primary(few) == BEFORE_AFTER


TABLE = "quarter unit phase go_live_phase handling non_handling hours\n" + "\n".join(
    f"{year}-Q{q} {unit} {side} {side} {n} 2 20000"
    for year, side, n in ((2023, "before", 6), (2024, "after", 3))
    for q in (1, 2, 3, 4)
    for unit in "AB"
)
UNITS = pd.DataFrame(
    [("A", "A", "", date(2024, 1, 1), False), ("B", "B", "", date(2024, 1, 1), False)],
    columns=["unit", "name", "care_type", "program_start", "comparison"],
)


@pytest.mark.parametrize("design", LADDER)
def test_a_design_that_was_fixed_beforehand_leads_with_or_without_a_ratio(design: str) -> None:
    settings = made_up.program(design=design)
    tables = made_up.drawn(TABLE, units=UNITS)
    quarters = rates.gather(tables, settings).complete()
    found = answer.gather(tables, Strata(tables, quarters), before_after.gather(tables, quarters, settings), settings)
    assert found.ladder.fixed_as == design
    assert {ladder.primary for ladder in found.ladders} == {design}
    lead = found.ladder.lead
    assert lead.design == found.sensitivity.main.rung.design == design
    without = design in ("comparison", "staggered", "within_quarter")
    assert (lead.verdict == NO_RATIO) == bool(lead.reason) == without
    assert (found.sensitivity.agreement is None) == without


def test_before_and_after_is_held_to_what_a_general_fall_would_give() -> None:
    """BLS recordable rates fell by 3.6 % a year on average from 2003 to 2024; 4 % is the fastest allowed for."""
    settings = made_up.program()
    item = Designed(BEFORE_AFTER, 0.80, 0.68, 0.94, 0.001, 200, 1e6, 250, 1e6, expected_error=0.1)
    for years, verdict in ((0.5, "lower"), (1.0, "lower"), (2.0, "cannot_tell"), (4.0, "cannot_tell")):
        found = rung("facility/x", "handling", item, years, settings)
        assert found.verdict == verdict, years
        assert found.must_fall_below.value == pytest.approx(0.96**years)
    same = replace(item, design=ADJUSTED)
    assert rung("facility/x", "handling", same, 4.0, settings).verdict == "lower", (
        "it allows for a yearly change itself"
    )
    higher = replace(item, estimate=1.4, lower=1.1, upper=1.8)
    assert rung("facility/x", "handling", higher, 4.0, settings).verdict == "higher"


def test_few_cases_are_marked_by_the_smaller_side() -> None:
    settings = made_up.program()
    item = Designed(BEFORE_AFTER, 0.5, 0.2, 1.2, 0.1, 4, 1e5, 40, 1e5, expected_error=0.5)
    assert settings.thresholds.unreliable_below == 5
    assert rung("facility/x", "handling", item, 1.0, settings).few
    assert not rung("facility/x", "handling", replace(item, events1=5), 1.0, settings).few


def test_no_case_on_either_side_is_a_reason() -> None:
    data = replace(personal(4), events1=np.zeros(20), events0=np.zeros(20))
    assert designs_by_person.before_after(data, 0.95).reason == NO_CASE
    one_side = designs_by_person.before_after(replace(data, events0=np.ones(20)), 0.95)
    assert (one_side.reason, one_side.estimate, one_side.lower) == ("", 0.0, 0.0)
