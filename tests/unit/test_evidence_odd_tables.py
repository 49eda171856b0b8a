"""The answer to odd facilities: whatever is missing is given as a reason, and nothing stops the review."""

from __future__ import annotations

import random
from datetime import date

import pandas as pd
import pytest

from handling_review.evidence import answer, before_after, numbers, rates
from handling_review.evidence.ladder import NO_RATIO
from handling_review.evidence.panel import BEFORE_AFTER, LADDER, NO_CASE
from handling_review.evidence.strata_table import BAND_FROM, Strata
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.tally import PHASES
from handling_review.program import Program
from spec import made_up_tables as made_up

SEED, TABLES, PARTS = 2026, 40, 2
BANDS = tuple(BAND_FROM)
STARTS = (None, date(2019, 1, 1), date(2021, 5, 1), date(2022, 2, 1), date(2023, 7, 1), date(2030, 1, 1))


def units(*rows: tuple[str, date | None, bool]) -> pd.DataFrame:
    return pd.DataFrame(
        [(unit, unit, "", start, is_comparison) for unit, start, is_comparison in rows],
        columns=["unit", "name", "care_type", "program_start", "comparison"],
    )


def answered(tables: ResultTables, program: Program | None = None) -> answer.Answer:
    settings = program or made_up.program()
    quarters = rates.gather(tables, settings).complete()
    return answer.gather(tables, Strata(tables, quarters), before_after.gather(tables, quarters, settings), settings)


def _cell(dice: random.Random, quarter: str, unit: str, most: int) -> dict[str, object]:
    phase = dice.choice(PHASES)
    band = {"before": "before", "washout": dice.choice(BANDS[:2]), "after": dice.choice(BANDS)}.get(phase, "none")
    hours = dice.choice([0.0, 0.25, 100.0, 5000.0, 20_000.0])
    handling, other = (dice.randint(0, most) if hours else 0 for _ in range(2))
    return {
        "quarter": quarter,
        "unit": unit,
        "phase": phase,
        "band": band,
        "lapsed": phase == "after" and dice.random() < 0.2,
        "go_live_phase": dice.choice(["before", "after", "none"]),
        "is_agency": phase == "unknown",
        "is_remedial": dice.random() < 0.1,
        "hours": hours,
        "handling": handling,
        "non_handling": other,
        "recordable": handling + other,
        "dart": (handling + other) // 2,
        "days_away": (handling + other) // 3,
        "first_handling": handling // 2,
        "handling_not_respiratory": handling - (handling > 2),
        "unclassified": 0,
    }


def odd(dice: random.Random) -> tuple[ResultTables, Program]:
    """A few quarters and units with anything in them: no hours, a quarter hour, starts outside, no units file."""
    quarters = [f"{year}-Q{q}" for year in range(2021, 2025) for q in (1, 2, 3, 4)]
    quarters = quarters[dice.randint(0, 8) :][: dice.randint(1, 8)]
    names, most = "ABC"[: dice.randint(1, 3)], dice.choice([0, 1, 3, 12])
    cells = [_cell(dice, q, u, most) for q in quarters for u in names for _ in range(dice.randint(0, 3))]
    cells = cells or [_cell(dice, quarters[0], "A", most)]
    heads = ["quarter", "unit", "phase", "go_live_phase", "lapsed", "handling", "non_handling", "hours"]
    lines = [" ".join(heads)]
    lines += [
        " ".join(str(cell[head]).replace("True", "yes").replace("False", "no") for head in heads) for cell in cells
    ]
    listed = units(*((unit, dice.choice(STARTS), dice.random() < 0.3) for unit in names))
    exposure = pd.DataFrame(
        [
            (q, u, dice.choice(["before", "after", "none"]), dice.choice(["patient_days", "transfers"]), amount)
            for q in quarters
            for u in names
            for amount in dice.choices([None, 0.0, 900.0])
            if amount is not None
        ],
        columns=["quarter", "unit", "go_live_phase", "measure", "quantity"],
    )
    tables = made_up.drawn(
        "\n".join(lines),
        gaps={str(cell["quarter"]): "hours missing" for cell in cells if dice.random() < 0.08},
        units=listed.iloc[: 0 if dice.random() < 0.15 else None],
        strata=pd.DataFrame(cells),
        exposure=exposure,
    )
    series = dice.choice(["handling", "recordable", "dart"])
    return tables, made_up.program(design=dice.choice(["strongest", *LADDER]), series=series)


def hold_together(found: answer.Answer) -> None:
    """What must be true of every answer, whatever the tables."""
    assert numbers.published(found), "no key stands for two numbers"
    rungs = [rung for ladder in found.ladders for rung in ladder.rungs]
    for rung in [*rungs, *(row.rung for row in found.sensitivity.rows)]:
        assert (rung.ratio is None) == bool(rung.reason) == (rung.verdict == NO_RATIO)
        if rung.ratio is not None:
            lower, value, upper = rung.ratio.lower.value, rung.ratio.value.value, rung.ratio.upper.value
            assert lower is not None
            assert value is not None
            assert upper is not None
            assert 0 <= lower <= value <= upper
        for check in rung.checks:
            assert "nan" not in check.seen
            assert "inf" not in check.seen
    for number in numbers.numbers_in(found):
        assert len(number.shown) <= 14, f"{number.key} is shown as {number.shown[:40]}"


@pytest.mark.parametrize("part", range(PARTS))
def test_odd_tables_are_answered(part: int) -> None:
    dice = random.Random(f"{SEED}/{part}")
    with_ratio, without = set(), set()
    for _ in range(TABLES // PARTS):
        found = answered(*odd(dice))
        hold_together(found)
        for rung in found.ladder.rungs:
            (without if rung.reason else with_ratio).add(rung.design)
    assert without == set(LADDER)
    assert BEFORE_AFTER in with_ratio


def reasons(found: answer.Answer) -> dict[str, str]:
    return {rung.design: rung.reason for rung in found.ladder.rungs}


def test_nobody_trained() -> None:
    table = "quarter unit phase handling non_handling hours\n" + "\n".join(
        f"2024-Q{q} {unit} before 4 2 20000" for q in (1, 2, 3, 4) for unit in "AB"
    )
    found = answered(made_up.drawn(table))
    hold_together(found)
    assert all(reasons(found).values())
    assert found.ladder.primary == BEFORE_AFTER
    assert reasons(found)[BEFORE_AFTER] == "there are no hours on one of the two sides"
    assert found.sensitivity.agreement is None
    assert found.chance.reason == "no unit starts inside the period"
    assert found.power.chance_target_met is None
    assert found.bounds.most_favourable is None


def test_one_quarter() -> None:
    table = "quarter unit phase handling non_handling hours\n2024-Q1 A before 6 2 9000\n2024-Q1 A after 3 2 8000"
    found = answered(made_up.drawn(table))
    hold_together(found)
    assert [name for name, reason in reasons(found).items() if not reason] == [
        "before_after",
        "negative_control",
        "within_quarter",
    ]
    assert found.ladder.primary == BEFORE_AFTER, "nothing that could tell the program from time"
    ratio = found.ladder.lead.ratio
    assert ratio is not None
    assert ratio.value.value == pytest.approx((3 / 8000) / (6 / 9000))


def test_no_case_at_all() -> None:
    table = "quarter unit phase go_live_phase handling non_handling hours\n" + "\n".join(
        f"2024-Q{q} {unit} {'before' if q < 3 else 'after'} {'before' if q < 3 else 'after'} 0 0 20000"
        for q in (1, 2, 3, 4)
        for unit in "ABC"
    )
    found = answered(made_up.drawn(table, units=units(("A", date(2024, 7, 1), False), ("B", None, True))))
    hold_together(found)
    assert all(reasons(found).values())
    assert reasons(found)[BEFORE_AFTER] == NO_CASE
    assert found.ladder.lead.verdict == NO_RATIO
    assert found.bands.step is None
    assert found.power.hours_still_needed is None
    assert found.power.detectable_in == ""


def test_only_comparison_units() -> None:
    table = "quarter unit phase handling non_handling hours\n" + "\n".join(
        f"2024-Q{q} {unit} never 4 2 20000" for q in (1, 2, 3, 4) for unit in "AB"
    )
    found = answered(made_up.drawn(table, units=units(("A", None, True), ("B", None, True))))
    hold_together(found)
    assert all(reasons(found).values())
    assert [item.unit for item in found.series] == [""], "no unit starts, so none has a series of its own"


def test_one_unit_with_a_stated_start() -> None:
    table = "quarter unit phase go_live_phase handling non_handling hours\n" + "\n".join(
        f"{year}-Q{q} A {side} {side} {6 if side == 'before' else 3} 2 20000"
        for year, side in ((2023, "before"), (2024, "after"))
        for q in (1, 2, 3, 4)
    )
    found = answered(made_up.drawn(table, units=units(("A", date(2024, 1, 1), False))))
    hold_together(found)
    assert "all units began together" in reasons(found)["staggered"]
    assert reasons(found)["adjusted"] == ""
    assert found.ladder.primary in ("adjusted", "before_after")


def test_no_complete_quarter() -> None:
    table = "quarter unit phase handling non_handling hours\n2024-Q1 A before 6 2 9000\n2024-Q1 A after 3 2 8000"
    found = answered(made_up.drawn(table, gaps={"2024-Q1": "hours missing"}))
    hold_together(found)
    assert all(reasons(found).values())
