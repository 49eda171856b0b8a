"""The answer from result tables: states of unit quarters, other ways of asking, time, chance, power, bounds."""

from __future__ import annotations

import dataclasses
import math
import random
from datetime import date

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from handling_review.evidence import answer, before_after, power_left, rates, sensitivity, time_bands
from handling_review.evidence.panel import LADDER, NOT_STARTED, STARTED, STARTING
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tables import ResultTables
from handling_review.program import Program
from spec import made_up_tables as made_up

TABLE = """
quarter  unit phase   go_live_phase handling non_handling hours
2024-Q1  A    before  before        6        2            10000
2024-Q1  B    before  before        5        1            9000
2024-Q2  A    before  before        2        1            4000
2024-Q2  A    washout after         1        0            3000
2024-Q2  B    before  before        4        2            9000
2024-Q3  A    after   after         3        2            9000
2024-Q3  B    before  before        1        0            2000
2024-Q3  B    never   after         2        0            1500
2024-Q3  B    after   after         2        1            5000
2024-Q4  A    after   after         2        3            9500
2024-Q4  B    after   after         3        1            8000
2024-Q4  C    never   none          4        2            7000
"""
STARTS = {"A": date(2024, 5, 10), "B": date(2024, 8, 1), "C": None}


def tables(table: str = TABLE, **replaced: pd.DataFrame) -> ResultTables:
    units = pd.DataFrame(
        [(unit, unit, "", start, unit == "C") for unit, start in STARTS.items()],
        columns=["unit", "name", "care_type", "program_start", "comparison"],
    )
    return made_up.drawn(table, **({"units": units} | replaced))


def answered(found: ResultTables, program: Program | None = None) -> answer.Answer:
    settings = program or made_up.program()
    quarters = rates.gather(found, settings).complete()
    return answer.gather(found, Strata(found, quarters), before_after.gather(found, quarters, settings), settings)


def strata(found: ResultTables | None = None) -> Strata:
    return Strata(found or tables(), ("2024-Q1", "2024-Q2", "2024-Q3", "2024-Q4"))


def states(panel: object) -> dict[tuple[int, int, int], tuple[float, float]]:
    return {
        (int(u), int(q), int(s)): (float(h), float(e))
        for u, q, s, h, e in zip(panel.unit, panel.quarter, panel.state, panel.hours, panel.events, strict=True)  # type: ignore[attr-defined]
    }


def test_a_stated_start_splits_its_quarter_by_the_day() -> None:
    found = states(strata().panel("handling"))
    assert found[0, 1, NOT_STARTED] == (4000, 2)
    assert found[0, 1, STARTING] == (3000, 1)
    assert found[0, 2, STARTED] == (9000, 3)
    assert found[1, 2, NOT_STARTED] == (2000, 1)
    assert found[1, 2, STARTING] == (6500, 4), "everybody's hours count by the unit's start"
    assert found[2, 3, NOT_STARTED] == (7000, 4)


def test_no_hour_and_no_case_is_lost_between_the_states() -> None:
    table, panel = tables(), strata().panel("handling")
    assert panel.hours.sum() == pytest.approx(table.strata["hours"].sum())
    assert panel.events.sum() == table.strata["handling"].sum()


def test_only_a_comparison_unit_without_a_start_is_one() -> None:
    panel = strata().panel("handling")
    assert set(panel.unit[panel.is_comparison].tolist()) == {2}


def test_a_start_before_the_first_quarter_leaves_only_started_hours() -> None:
    units = tables().units.assign(program_start=[date(2020, 1, 1), date(2024, 8, 1), None])
    found = states(strata(tables(units=units)).panel("handling"))
    assert {state for unit, _, state in found if unit == 0} == {STARTED}


def test_without_a_stated_start_half_the_hours_past_training_are_one() -> None:
    units = tables().units.assign(program_start=None)
    table = strata(tables(units=units))
    assert table.starts == {"A": 2, "B": 2}  # 2024-Q2: 3000 of 7000 past training; 2024-Q3 of B: 5000 of 8500
    assert table.stated == frozenset()
    found = states(table.panel("handling"))
    assert found[0, 2, STARTING] == (9000, 3), "the whole quarter belongs to neither side"


def test_the_training_day_is_on_neither_side_at_any_washout() -> None:
    bands = [("day 0", 10), ("days 1-29", 20), ("days 30-89", 40), ("days 90-179", 80), ("days 180-364", 160)]
    base = tables().strata.iloc[:1]
    rows = pd.concat(
        [base.assign(band="before", phase="before", hours=1000.0, handling=3)]
        + [base.assign(band=band, phase="after", hours=float(hours), handling=1) for band, hours in bands]
    )
    found = Strata(tables(strata=rows), ("2024-Q1",))
    hours = [found.personal("handling", washout_days=max(days, 1)).hours1.sum() for days in sensitivity.WASHOUTS]
    assert hours == [20 + 40 + 80 + 160, 40 + 80 + 160, 80 + 160, 160]


def test_every_other_way_of_asking_that_is_wanted_is_there() -> None:
    exposure = pd.DataFrame(
        [("2024-Q1", "A", "before", "patient_days", 900.0), ("2024-Q4", "A", "after", "patient_days", 1100.0),
         ("2024-Q4", "B", "after", "transfers", 400.0)],
        columns=["quarter", "unit", "go_live_phase", "measure", "quantity"],
    )  # fmt: skip
    found = answered(tables(exposure=exposure)).sensitivity
    names = {row.name for row in found.rows}
    wanted = {"washout_0", "washout_30", "washout_90", "washout_180", "unit_start", "training_current", "recordable"}
    wanted |= {"dart", "without_agency", "without_remedial", "first_event", "without_respiratory", "negative_binomial"}
    wanted |= {"per_patient_days", "per_transfers"}
    wanted |= {f"design_{name}" for name in LADDER if name != found.main.rung.design}
    assert names == wanted
    per_day = next(row for row in found.rows if row.name == "per_patient_days")
    assert (per_day.rung.now_events.value, per_day.rung.then_events.value) == (2, 6), "cases of the same unit quarters"
    assert per_day.rung.ratio is not None
    assert per_day.rung.ratio.value.value == pytest.approx((2 / 1100) / (6 / 900))
    assert next(row for row in found.rows if row.name == "per_transfers").rung.ratio is None


def test_the_pandemic_years_are_left_out_only_where_they_are_in() -> None:
    early = TABLE.replace("2024-", "2021-").replace("2021-Q4", "2023-Q4").replace("2021-Q3", "2023-Q3")
    units = tables().units.assign(program_start=[date(2021, 5, 10), date(2023, 8, 1), None])
    found = answered(tables(early, units=units), made_up.program(design="before_after")).sensitivity
    row = next(item for item in found.rows if item.name == "without_2020_22")
    assert row.rung.then_events.value == 1, "before training: 2023-Q3 of unit B alone"
    assert row.rung.now_events.value == 3 + 2 + 2 + 3


@pytest.mark.parametrize(
    ("name", "change", "events1", "events0"),
    [
        ("without_agency", {"is_agency": True}, 2 + 2 + 3, 6 + 5 + 2 + 4 + 1),
        ("without_remedial", {"is_remedial": True}, 2 + 2 + 3, 6 + 5 + 2 + 4 + 1),
        ("first_event", {"first_handling": 1}, 1 + 2 + 2 + 3, 6 + 5 + 2 + 4 + 1),
        ("without_respiratory", {"handling_not_respiratory": 0}, 2 + 2 + 3, 6 + 5 + 2 + 4 + 1),
    ],
)
def test_each_row_leaves_out_what_it_says(name: str, change: dict[str, object], events1: int, events0: int) -> None:
    rows = tables().strata.reset_index(drop=True)
    at = rows.index[(rows["unit"] == "A") & (rows["quarter"] == "2024-Q3")]  # 3 cases in 9,000 trained hours
    for column, value in change.items():
        rows.loc[at, column] = value
    found = answered(tables(strata=rows), made_up.program(design="before_after")).sensitivity
    row = next(item for item in found.rows if item.name == name)
    assert (row.rung.now_events.value, row.rung.then_events.value) == (events1, events0)


def test_agreement_counts_sides_and_words() -> None:
    found = made_up.review().answer.sensitivity
    assert found.agreement is not None
    ratios = [
        row.rung.ratio.value.value
        for row in found.rows
        if not row.is_repeat and row.rung.ratio and row.rung.ratio.value.value is not None
    ]
    main = found.main.rung.ratio
    assert main is not None
    assert main.value.value is not None
    assert found.agreement.with_answer.value == len(ratios)
    assert found.agreement.same_side.value == sum((r < 1) == (main.value.value < 1) for r in ratios)
    assert (found.agreement.lowest.value, found.agreement.highest.value) == (min(ratios), max(ratios))


def test_time_since_training_adds_up_and_lapsed_stands_apart() -> None:
    rows = tables().strata.iloc[:1]
    layout = [("day 0", 0, False), ("days 30-89", 2, False), ("days 90-179", 3, False), ("days 180-364", 4, False),
              ("days 365-729", 5, False), ("days 730 on", 6, False), ("days 730 on", 7, True)]  # fmt: skip
    frame = pd.concat(
        [
            rows.assign(band=band, phase="after", lapsed=lapsed, handling=n, hours=1000.0 * n + 500)
            for band, n, lapsed in layout
        ]
    )
    found = time_bands.gather(Strata(tables(strata=frame), ("2024-Q1",)), made_up.program())
    assert [band.rate.events.value for band in found.bands] == [2, 3, 4, 5, 6]
    assert found.bands[0].rate.hours.value == 500 + 2500
    assert (found.lapsed.rate.events.value, found.lapsed.rate.hours.value) == (7, 7500)
    assert found.step is not None
    # A log-linear trend through five bands by Poisson regression: the conditional estimate is the same number.
    import statsmodels.api as sm

    hours = np.array([3000.0, 3500, 4500, 5500, 6500])
    fit = sm.GLM(
        np.array([2, 3, 4, 5, 6]), sm.add_constant(np.arange(5.0)), family=sm.families.Poisson(), offset=np.log(hours)
    ).fit()
    assert found.step.value.value == pytest.approx(math.exp(fit.params[1]), rel=1e-6)


def test_a_case_in_a_band_without_hours_gives_no_trend() -> None:
    rows = tables().strata.iloc[:1]
    frame = pd.concat(
        rows.assign(band=band, phase="after", lapsed=False, handling=cases, hours=hours)
        for band, cases, hours in (("days 30-89", 2, 1000.0), ("days 90-179", 3, 4000.0), ("days 180-364", 1, 0.0))
    )
    found = time_bands.gather(Strata(tables(strata=frame), ("2024-Q1",)), made_up.program())
    assert sum(int(band.rate.events.value or 0) for band in found.bands) == 6
    assert found.step is None
    assert found.direction == "cannot_tell"


def test_units_chosen_for_a_bad_year_are_expected_to_fall_back() -> None:
    quarters = ("2023-Q1", "2023-Q2", "2023-Q3", "2023-Q4", "2024-Q1", "2024-Q2")
    counts = {"A": 4, "B": 4, "C": 1, "D": 1, "E": 1, "F": 1}
    lines = ["quarter unit phase go_live_phase handling hours"]
    for i, quarter in enumerate(quarters):
        for unit, events in counts.items():
            side = "none" if unit in "CDEF" else "before" if i < 4 else "after"
            lines.append(f"{quarter} {unit} {'before' if i < 4 else 'after'} {side} {events if i < 4 else 2} 20000")
    units = pd.DataFrame(
        [
            (u, u, "", date(2024, 1, 1) if u == "A" else date(2024, 1, 2) if u == "B" else None, u in "CDEF")
            for u in counts
        ],
        columns=["unit", "name", "care_type", "program_start", "comparison"],
    )
    chance = answered(made_up.drawn("\n".join(lines), units=units)).chance
    assert chance.early_units == ("A", "B")
    assert chance.is_bad_spell
    assert chance.expected_ratio is not None
    assert chance.expected_ratio.value is not None
    assert 32 / 48 * 0.75 < chance.expected_ratio.value < 1, "between the overall rate and their own"
    assert chance.observed_ratio is not None
    assert chance.observed_ratio.value == pytest.approx(2 / 4)  # 2024-Q2 is the only quarter wholly after


def test_power_left_says_now_the_quarter_or_never() -> None:
    lead = made_up.review().answer.ladder.lead

    def left(events0: int, hours0: int, hours1: int, pace: float) -> power_left.PowerLeft:
        found = made_up.drawn(
            f"quarter unit phase handling hours\n2024-Q1 A before {events0} {hours0}\n2024-Q2 A after 5 {hours1}"
        )
        change = before_after.gather(found, ("2024-Q1", "2024-Q2"), made_up.program())
        return power_left.gather(lead, change.primary, pace, ("2024-Q1", "2024-Q2"), made_up.program())

    assert left(60, 400_000, 500_000, 50_000).detectable_in == "now"
    # 60 cases before want fewer hours after than before: exact power, equal hours, wants 47 before for a half.
    later = left(60, 400_000, 100_000, 50_000)
    assert later.quarters_still_needed is not None
    assert later.quarters_still_needed.value in range(1, 7)
    year, quarter = divmod(2024 * 4 + 1 + int(later.quarters_still_needed.value or 0), 4)
    assert later.detectable_in == f"{year}-Q{quarter + 1}"
    assert left(3, 400_000, 100_000, 50_000).hours_still_needed is None
    assert later.cases_before_wanted.value == 47  # equal hours, 80 % power, a fall by half
    chance = left(60, 400_000, 400_000, 50_000).chance_target_met
    assert chance is not None
    # Jeffreys priors: the share of "after" among both rates is beta distributed; a half is the share 1/3.
    assert chance.value == pytest.approx(stats.beta.cdf(1 / 3, 5.5, 60.5), abs=1e-9)


def test_rows_set_aside_are_counted_for_and_against() -> None:
    base = tables()
    lost = base.accounting.iloc[:1].assign(file="incidents", rule="event_date: type", kind="set_aside", rows=2)
    others = base.accounting[~((base.accounting["file"] == "incidents") & (base.accounting["kind"] == "set_aside"))]
    found = answered(tables(accounting=pd.concat([others, lost], ignore_index=True))).bounds
    assert found.set_aside.value == 2
    assert found.most_favourable is not None
    assert found.least_favourable is not None
    hours1, hours0, y1, y0 = 9000 + 5000 + 9500 + 8000, 10000 + 9000 + 4000 + 9000 + 2000, 10, 18
    assert found.most_favourable.value.value == pytest.approx(y1 / hours1 / ((y0 + 2) / hours0))
    assert found.least_favourable.value.value == pytest.approx((y1 + 2) / hours1 / (y0 / hours0))


def test_only_handling_cases_are_held_against_the_others() -> None:
    found = answered(tables())
    assert found.ladder.of("negative_control").ratio is not None
    assert all(item.of("negative_control").ratio is None for item in found.ladders[1:])


def test_all_series_are_led_by_the_same_design() -> None:
    ladders = made_up.review().answer.ladders
    assert [item.series for item in ladders] == ["handling", "recordable", "dart", "days_away"]
    assert len({item.primary for item in ladders}) == 1


def test_no_table_however_odd_stops_the_answer() -> None:
    dice = random.Random(1910)
    seen = set()
    for _ in range(20):
        quarters = [f"202{y}-Q{q}" for y in (3, 4) for q in (1, 2, 3, 4)][: dice.randint(1, 8)]
        lines = ["quarter unit phase go_live_phase handling non_handling hours"]
        units = "ABC"[: dice.randint(1, 3)]
        for quarter in quarters:
            for unit in units:
                for phase in dice.sample(["before", "washout", "after", "never", "unknown"], dice.randint(0, 3)):
                    side = dice.choice(["before", "after", "none"])
                    hours = dice.choice([0, 0, 100, 5000, 20000])
                    lines.append(
                        f"{quarter} {unit} {phase} {side} {dice.choice([0, 0, 0, 1, 4]) if hours else 0} 1 {hours}"
                    )
        if len(lines) == 1:
            lines.append(f"{quarters[0]} A never none 0 0 100")
        listed = pd.DataFrame(
            [(u, u, "", dice.choice([None, date(2023, 5, 1), date(2024, 2, 1), date(2030, 1, 1)]), dice.random() < 0.3)
             for u in units],
            columns=["unit", "name", "care_type", "program_start", "comparison"],
        )  # fmt: skip
        design = dice.choice(["strongest", *LADDER])
        found = answered(made_up.drawn("\n".join(lines), units=listed), made_up.program(design=design))
        for ladder in found.ladders:
            for rung in ladder.rungs:
                assert (rung.ratio is None) == bool(rung.reason)
                seen.add((rung.design, bool(rung.reason)))
        assert dataclasses.is_dataclass(found)
    assert {design for design, _ in seen} == set(LADDER)
    assert any(not reason for _, reason in seen)
