"""Time in the designs is the calendar's: incomplete quarters, fiscal years, and what stands on neither side."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import optimize, stats

from handling_review.evidence import answer, before_after, ladder, rates, sensitivity, time_bands, unit_series
from handling_review.evidence.designs_by_unit import adjusted
from handling_review.evidence.panel import NOT_STARTED, STARTED, STARTING, Panel
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tables import ResultTables
from handling_review.program import Program
from spec import made_up_tables as made_up

YEARS = [f"{year}-Q{q}" for year in (2023, 2024) for q in (1, 2, 3, 4)]
GAP = {"2023-Q3": "hours missing"}


def listed(*rows: tuple[str, date | None, bool]) -> pd.DataFrame:
    return pd.DataFrame(
        [(unit, unit, "", start, is_comparison) for unit, start, is_comparison in rows],
        columns=["unit", "name", "care_type", "program_start", "comparison"],
    )


def lines(counts: dict[str, list[int]], starts: dict[str, int], hours: float = 20_000) -> str:
    rows = ["quarter unit phase go_live_phase handling non_handling hours"]
    for unit, events in counts.items():
        for i, (quarter, n) in enumerate(zip(YEARS, events, strict=True)):
            side = "none" if unit not in starts else "before" if i < starts[unit] else "after"
            rows.append(f"{quarter} {unit} {side if side != 'none' else 'never'} {side} {n} 1 {hours + 700 * i}")
    return "\n".join(rows)


COUNTS = {"A": [9, 7, 8, 6, 3, 4, 2, 3], "B": [6, 8, 5, 7, 6, 3, 2, 3], "C": [5, 6, 4, 5, 6, 4, 5, 4]}
UNITS = listed(("A", date(2024, 1, 1), False), ("B", date(2024, 4, 1), False), ("C", None, True))


def gapped(units: pd.DataFrame = UNITS, **options: pd.DataFrame) -> ResultTables:
    return made_up.drawn(lines(COUNTS, {"A": 4, "B": 5}), gaps=GAP, units=units, **options)


def answered(tables: ResultTables, settings: Program) -> answer.Answer:
    quarters = rates.gather(tables, settings).complete()
    return answer.gather(tables, Strata(tables, quarters), before_after.gather(tables, quarters, settings), settings)


def strata(tables: ResultTables) -> Strata:
    return Strata(tables, rates.gather(tables, made_up.program()).complete())


def hours_at(panel: Panel) -> dict[tuple[int, int, int], float]:
    return {
        (int(u), int(q), int(s)): float(h)
        for u, q, s, h in zip(panel.unit, panel.quarter, panel.state, panel.hours, strict=True)
    }


def test_an_incomplete_quarter_leaves_with_cases_and_hours_and_keeps_its_place() -> None:
    found = strata(gapped())
    panel = found.panel("handling")
    assert found.quarters == tuple(YEARS)
    assert found.complete == tuple(q for q in YEARS if q not in GAP)
    assert sorted(set(panel.quarter.tolist())) == [0, 1, 3, 4, 5, 6, 7]
    assert panel.hours.sum() == 3 * sum(20_000 + 700 * i for i in range(8) if i != 2)
    assert panel.events.sum() == sum(sum(events) - events[2] for events in COUNTS.values())


def test_the_yearly_change_runs_over_the_gap() -> None:
    """Against a fit with time in days: the quarter after the gap lies half a year after the one before it."""
    found = adjusted(strata(gapped()).panel("handling"), 0.95)
    rows = [
        (unit, n, 20_000 + 700 * i, (date(2023 + i // 4, 3 * (i % 4) + 1, 1) - date(2023, 1, 1)).days / 91.3125 / 4, i)
        for unit, events in COUNTS.items()
        for i, n in enumerate(events)
        if i != 2 and (unit, i) not in (("A", 4), ("B", 5))
    ]
    started = np.array([unit in "AB" and i > {"A": 4, "B": 5}[unit] for unit, *_, i in rows], dtype=float)
    x = np.column_stack([started, [r[3] for r in rows], *[[float(r[0] == u) for r in rows] for u in "ABC"]])
    offset = np.log([r[2] for r in rows])
    fit = sm.GLM([r[1] for r in rows], x, family=sm.families.Poisson(), offset=offset).fit(tol=1e-12)
    assert found.estimate == pytest.approx(math.exp(fit.params[0]), rel=0.003)  # days against quarters
    squeezed = x.copy()
    squeezed[:, 1] = [(r[4] - (r[4] > 2)) / 4 for r in rows]
    other = sm.GLM([r[1] for r in rows], squeezed, family=sm.families.Poisson(), offset=offset).fit(tol=1e-12)
    assert abs(math.exp(other.params[0]) / found.estimate - 1) > 0.006, "leaving the gap out of time would show"


def test_a_start_inside_the_gap_has_started_by_the_next_quarter() -> None:
    units = listed(("A", date(2023, 8, 10), False), ("B", date(2024, 4, 1), False), ("C", None, True))
    found = strata(made_up.drawn(lines(COUNTS, {"A": 3, "B": 5}), gaps=GAP, units=units))
    assert found.starts["A"] == 2
    panel = hours_at(found.panel("handling"))
    assert (0, 3, STARTED) in panel
    assert {state for unit, _, state in panel if unit == 0} == {NOT_STARTED, STARTED}


def test_a_start_after_the_last_quarter_leaves_the_unit_waiting() -> None:
    units = listed(("A", date(2025, 3, 1), False), ("B", date(2024, 4, 1), False), ("C", None, True))
    found = strata(gapped(units))
    assert "A" not in found.starts
    panel = found.panel("handling")
    assert set(panel.state[panel.unit == 0].tolist()) == {NOT_STARTED}
    assert not panel.is_comparison[panel.unit == 0].any(), "waiting is not being a comparison unit"


def test_the_picture_of_the_series_shows_the_gap_without_a_rate() -> None:
    found = unit_series.gather(strata(gapped()), made_up.program())[0]
    assert [point.quarter for point in found.points] == YEARS
    assert [point.quarter for point in found.points if point.seen is None] == list(GAP)


def test_amounts_of_an_incomplete_quarter_leave_too() -> None:
    exposure = pd.DataFrame(
        [(q, "A", "before" if i < 4 else "after", "patient_days", 1000.0) for i, q in enumerate(YEARS)],
        columns=["quarter", "unit", "go_live_phase", "measure", "quantity"],
    )
    found = answered(gapped(exposure=exposure), made_up.program()).sensitivity
    row = next(item for item in found.rows if item.name == "per_patient_days")
    assert (row.then_amount.value, row.now_amount.value) == (3000, 4000)
    assert (row.rung.then_events.value, row.rung.now_events.value) == (9 + 7 + 6, 3 + 4 + 2 + 3)


def test_the_record_before_the_first_start_names_its_complete_quarters() -> None:
    chance = answered(gapped(), made_up.program()).chance
    assert chance.quarters == ("2023-Q1", "2023-Q2", "2023-Q4")
    assert chance.early is not None
    assert chance.early.events.value == 9 + 7 + 6, "unit A alone starts at or before the middle start"


def marginal_likelihood_ratio(y: np.ndarray, t: np.ndarray, chosen: np.ndarray) -> float:
    """Gamma-Poisson by maximum likelihood over the negative binomial; hours-weighted posterior over recorded rate."""

    def loss(at: np.ndarray) -> float:
        shape, scale = np.exp(at)
        return -float(stats.nbinom.logpmf(y, shape, shape / (shape + t * scale)).sum())

    best = optimize.minimize(loss, np.log([2.0, y.sum() / t.sum()]), method="Nelder-Mead", tol=1e-10)
    shape, mean = np.exp(best.x)
    posterior = (shape + y) / (shape / mean + t)
    return float((posterior * t)[chosen].sum() / y[chosen].sum())


def test_the_fall_by_itself_is_the_gamma_poisson_expectation() -> None:
    counts = {"A": 20, "B": 16, "C": 4, "D": 6, "E": 3, "F": 7}
    rows = ["quarter unit phase go_live_phase handling non_handling hours"]
    for i, quarter in enumerate(YEARS[:6]):
        for k, (unit, n) in enumerate(counts.items()):
            side = "none" if unit in "CDEF" else "before" if i < 4 else "after"
            part = n // 4 + (i < n % 4)
            rows.append(f"{quarter} {unit} {'before' if i < 4 else 'after'} {side} {part} 1 {20_000 + 1500 * k}")
    units = listed(("A", date(2024, 1, 1), False), ("B", date(2024, 1, 1), False), *((u, None, True) for u in "CDEF"))
    chance = answered(made_up.drawn("\n".join(rows), units=units), made_up.program()).chance
    y, t = np.array(list(counts.values())), 4 * np.array([20_000.0 + 1500 * k for k in range(6)])
    by_hand = marginal_likelihood_ratio(y, t / 1e5, np.arange(6) < 2)
    assert chance.expected_ratio is not None
    assert chance.expected_ratio.value == pytest.approx(by_hand, rel=1e-4)
    assert 0.6 < by_hand < 0.95
    assert chance.is_bad_spell
    assert chance.observed_ratio is not None
    later, hours = 5 + 4, 20_000 + 21_500  # 2024-Q2 alone is wholly after the start
    assert chance.observed_ratio.value == pytest.approx((later / hours) / (36 / t[:2].sum()))


def fiscal(tables: ResultTables, names: dict[str, str]) -> ResultTables:
    """The same tables with quarters named after a year that starts in October."""
    return replace(
        tables,
        strata=tables.strata.assign(quarter=tables.strata["quarter"].map(names)),
        quarters=tables.quarters.assign(quarter=tables.quarters["quarter"].map(names)),
    )


@pytest.mark.parametrize(
    ("first", "calendar", "left_out"),
    [(2022, ("2022-Q3", "2022-Q4", "2023-Q1", "2023-Q2"), ["2022-Q3", "2022-Q4"]),
     (2019, ("2019-Q3", "2019-Q4", "2020-Q1", "2020-Q2"), ["2020-Q1", "2020-Q2"])],
)  # fmt: skip
@pytest.mark.parametrize("is_fiscal", [False, True])
def test_the_years_2020_to_2022_are_told_by_their_days(
    first: int, calendar: tuple[str, ...], left_out: list[str], is_fiscal: bool
) -> None:
    counts = dict(zip(calendar, (1, 2, 4, 8), strict=True))
    table = "quarter unit phase handling non_handling hours\n" + "\n".join(
        f"{quarter} A {phase} {n} 1 9000" for quarter, n in counts.items() for phase in ("before", "after")
    )
    names = dict(zip(calendar, (f"FY{first}-Q4", *(f"FY{first + 1}-Q{q}" for q in (1, 2, 3))), strict=True))
    tables = made_up.drawn(table)
    settings = made_up.program(design="before_after")
    quarters = list(counts)
    if is_fiscal:
        tables, quarters = fiscal(tables, names), list(names.values())
    found = Strata(tables, quarters)
    rows = sensitivity.gather(found, ladder.gather(found, settings)[0], tables, settings).rows
    row = next(item for item in rows if item.name == "without_2020_22")
    wanted = sum(n for quarter, n in counts.items() if quarter not in left_out)
    assert (row.rung.now_events.value, row.rung.then_events.value) == (wanted, wanted)


def test_bands_add_up_to_all_hours_past_the_training_day() -> None:
    table = made_up.tables()
    found, settings = strata(table), made_up.program()
    bands = time_bands.gather(found, settings)
    frame = found.frame
    past = frame[~frame["band"].isin(["before", "none"])]
    parts = [*bands.bands, bands.lapsed]
    assert sum(part.rate.events.value or 0 for part in parts) == past["handling"].sum()
    assert sum(part.rate.hours.value or 0 for part in parts) == pytest.approx(past["hours"].sum())
    assert bands.untrained.rate.events.value == frame.loc[frame["phase"] == "before", "handling"].sum()
    assert bands.refresher_months is not None
    assert bands.refresher_months.value == 24


def test_two_bands_step_by_their_rate_ratio_and_one_does_not_step() -> None:
    base = gapped().strata.iloc[:1]

    def of(*layout: tuple[str, int, float]) -> time_bands.TimeBands:
        rows = [base.assign(band=b, phase="after", lapsed=False, handling=n, hours=h) for b, n, h in layout]
        return time_bands.gather(strata(gapped(strata=pd.concat(rows))), made_up.program())

    found = of(("days 30-89", 12, 9000.0), ("days 90-179", 30, 9500.0))
    assert found.step is not None
    assert found.step.value.value == pytest.approx((30 / 9500) / (12 / 9000))
    assert found.direction == "higher"
    assert of(("days 30-89", 12, 9000.0)).step is None
    assert of(("days 30-89", 0, 9000.0), ("days 90-179", 0, 9500.0)).step is None


def test_a_stated_start_leaves_the_quarter_to_neither_side_from_that_day_on() -> None:
    rows = "\n".join(
        ["quarter unit phase go_live_phase handling non_handling hours"]
        + [f"{q} A before before 3 1 9000" for q in YEARS[:3]]
        + ["2023-Q4 A before before 1 1 4000", "2023-Q4 A before after 2 1 5000"]
        + [f"{q} A after after 2 1 9000" for q in YEARS[4:]]
    )
    panel = hours_at(strata(made_up.drawn(rows, units=listed(("A", date(2023, 11, 9), False)))).panel("handling"))
    assert panel[0, 3, NOT_STARTED] == 4000
    assert panel[0, 3, STARTING] == 5000
    assert (0, 4, STARTED) in panel


def test_six_quarters_are_not_asked_for_a_season() -> None:
    """Two seasonal terms beside the four of the lines would leave no quarter over for the error."""
    units = listed(("A", date(2024, 1, 1), False))
    gaps = {"2023-Q2": "hours missing", "2024-Q3": "hours missing"}
    counts = {"A": [30, 25, 28, 26, 13, 14, 12, 18]}
    found = unit_series.gather(
        strata(made_up.drawn(lines(counts, {"A": 4}), gaps=gaps, units=units)), made_up.program()
    )
    assert [item.reason for item in found] == ["", ""]
    for item in found:
        assert item.newey_west is not None
        assert item.level is not None
        assert item.level.value.value == pytest.approx(item.newey_west.value.value or 0)
