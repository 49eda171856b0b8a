"""Small facilities drawn at random for the attack on the wide copy: one unit or many, years of few cases, noughts."""

from __future__ import annotations

import random
from types import SimpleNamespace
from typing import cast

import pandas as pd

from handling_review.evidence import actions, chance_fall, ladder, rates, training, units, wide
from handling_review.evidence.assemble import Review
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.tally import PersonTime
from handling_review.page.wide import render_wide
from handling_review.program import Program
from spec import made_up_tables as made_up

SERIES = ("handling", "recordable", "dart", "days_away")


def drawn(seed: int) -> ResultTables:
    """One facility: 1 to 12 units, 1 to 4 years, starts of training here and there, from no case to many."""
    dice = random.Random(seed)
    count = dice.choice((1, 2, 3, 3, 5, 8, 12))
    first = dice.randrange(4)
    length = dice.randrange(3, 17)
    quarters = [f"{2022 + (first + i) // 4}-Q{(first + i) % 4 + 1}" for i in range(length)]
    lines = ["quarter unit phase go_live_phase hours handling non_handling recordable dart days_away"]
    for at in range(count):
        busy = dice.choice((0.0, 0.1, 0.2, 0.4, 0.8, 2.0))
        start = dice.choice((None, dice.randrange(length)))
        for step, quarter in enumerate(quarters):
            went = "none" if start is None else "before" if step < start else "after"
            for phase, share in _phases(step, start):
                handling, other = _poisson(dice, busy * share), _poisson(dice, 0.4 * busy * share)
                recordable = handling + other + _poisson(dice, 0.05 * busy)
                dart = sum(dice.random() < 0.6 for _ in range(recordable))
                away = sum(dice.random() < 0.7 for _ in range(dart))
                hours = round(share * dice.randrange(4000, 20000), 1)
                lines.append(f"{quarter} U{at:02} {phase} {went} {hours} {handling} {other} {recordable} {dart} {away}")
    return made_up.drawn("\n".join(lines))


def _phases(step: int, start: int | None) -> tuple[tuple[str, float], ...]:
    if start is None:
        return (("never", 0.9), ("unknown", 0.1))
    if step < start:
        return (("before", 0.8), ("never", 0.2))
    if step == start:
        return (("before", 0.3), ("washout", 0.3), ("after", 0.2), ("never", 0.2))
    return (("before", 0.1), ("after", 0.7), ("never", 0.2))


def _poisson(dice: random.Random, expected: float) -> int:
    count, waited = 0, dice.expovariate(1.0)
    while waited < expected:
        count, waited = count + 1, waited + dice.expovariate(1.0)
    return count


def reviewed(tables: ResultTables, program: Program) -> Review:
    """The parts of a review that the wide copy is made of; a whole one takes many times as long."""
    rate = rates.gather(tables, program)
    complete = rate.complete()
    strata = Strata(tables, complete)
    ladders = ladder.gather(strata, program)[:1]
    answer = SimpleNamespace(ladder=ladders[0], ladders=ladders, chance=chance_fall.gather(strata, program))
    return cast(
        Review,
        SimpleNamespace(
            rates=rate,
            answer=answer,
            units=units.gather(tables, complete, program),
            training=training.gather(tables, complete, units.unit_names(tables), program),
            actions=(actions.Candidate("keep_measuring", "rates", (), ()),),
            program=program,
            due=SimpleNamespace(refresher_months=None),
            series=program.analysis.series,
            scope=made_up.scope(program),
        ),
    )


def page(tables: ResultTables, review: Review, *, complementary: bool = True) -> tuple[str, wide.Wide]:
    """The finished HTML and what it was made of."""
    found = wide.gather(tables, review, complementary=complementary)
    return render_wide(review, found), found


def truth(tables: ResultTables) -> dict[tuple[str, str], int]:
    """True counts by series and quarter, and by ("unit", unit name) for handling injuries."""
    by_quarter = PersonTime(tables.person_time).by("quarter")
    found = {(str(k[1]), str(k[0])): tally.events for k, tally in by_quarter.items() if k[1] in SERIES}
    names = dict(zip(tables.units["unit"], tables.units["name"], strict=True))
    for (unit, series), tally in PersonTime(tables.person_time).by("unit").items():
        if series == "handling":
            name = names.get(unit)
            found["unit", str(unit) if name is None or pd.isna(name) else str(name)] = tally.events
    return found
