"""The other ways of asking, each by hand from one drawn table of strata."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from handling_review.evidence import designs, designs_by_unit, ladder, sensitivity
from handling_review.evidence.panel import ADJUSTED, STARTED, STARTING, Panel
from handling_review.evidence.sensitivity import Sensitivity
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tables import ResultTables
from spec import made_up_tables as made_up

# quarter, phase, band, go_live_phase, lapsed, agency, remedial, hours, and cases: handling, recordable, dart, the first
# of each person, not respiratory
CELLS = (
    ("2024-Q1", "before", "before", "before", False, False, False, 9000.0, 12, 15, 7, 9, 11),
    ("2024-Q1", "unknown", "none", "before", False, True, False, 1000.0, 2, 2, 1, 2, 2),
    ("2024-Q2", "before", "before", "before", False, False, False, 4000.0, 5, 6, 3, 4, 5),
    ("2024-Q2", "before", "before", "after", False, False, True, 600.0, 1, 1, 1, 1, 1),
    ("2024-Q2", "washout", "day 0", "after", False, False, False, 300.0, 1, 1, 0, 1, 1),
    ("2024-Q2", "washout", "days 1-29", "after", False, False, False, 2500.0, 2, 3, 1, 2, 2),
    ("2024-Q3", "after", "days 30-89", "after", False, False, False, 5000.0, 3, 4, 2, 3, 3),
    ("2024-Q3", "after", "days 30-89", "after", False, False, True, 700.0, 2, 2, 2, 1, 2),
    ("2024-Q3", "after", "days 90-179", "after", False, False, False, 3000.0, 1, 2, 1, 1, 0),
    ("2024-Q4", "after", "days 180-364", "after", False, False, False, 8000.0, 4, 5, 2, 3, 4),
    ("2024-Q4", "after", "days 730 on", "after", True, False, False, 900.0, 2, 2, 1, 1, 2),
    ("2024-Q4", "unknown", "none", "after", False, True, False, 1100.0, 1, 1, 1, 1, 1),
)
HEADS = ["quarter", "phase", "band", "go_live_phase", "lapsed", "is_agency", "is_remedial", "hours"]
HEADS += ["handling", "recordable", "dart", "first_handling", "handling_not_respiratory"]
QUARTERS = ("2024-Q1", "2024-Q2", "2024-Q3", "2024-Q4")


def tables() -> ResultTables:
    strata = pd.DataFrame(CELLS, columns=HEADS).assign(
        unit="A", non_handling=lambda f: f["recordable"] - f["handling"], days_away=0, unclassified=0
    )
    drawn = "\n".join(f"{c[0]} A {c[1]} {c[8]} {c[9] - c[8]} {c[7]}" for c in CELLS)
    units = pd.DataFrame(
        [("A", "A", "", date(2024, 5, 1), False)],
        columns=["unit", "name", "care_type", "program_start", "comparison"],
    )
    return made_up.drawn(f"quarter unit phase handling non_handling hours\n{drawn}", strata=strata, units=units)


def gathered(series: str = "handling", design: str = "before_after") -> Sensitivity:
    settings = made_up.program(series=series, design=design)
    found = tables()
    strata = Strata(found, QUARTERS)
    return sensitivity.gather(strata, ladder.gather(strata, settings)[0], found, settings)


# cases after, hours after, cases before, hours before
BY_HAND = {
    "washout_0": (2 + 3 + 2 + 1 + 4 + 2, 2500 + 5000 + 700 + 3000 + 8000 + 900, 18, 13_600),
    "washout_30": (3 + 2 + 1 + 4 + 2, 5000 + 700 + 3000 + 8000 + 900, 18, 13_600),
    "washout_90": (1 + 4 + 2, 3000 + 8000 + 900, 18, 13_600),
    "washout_180": (4 + 2, 8000 + 900, 18, 13_600),
    "unit_start": (17, 600 + 300 + 2500 + 8700 + 8900 + 1100, 12 + 2 + 5, 14_000),
    "training_current": (3 + 2 + 1 + 4, 5000 + 700 + 3000 + 8000, 18, 13_600),
    "recordable": (4 + 2 + 2 + 5 + 2, 17_600, 15 + 6 + 1, 13_600),
    "dart": (2 + 2 + 1 + 2 + 1, 17_600, 7 + 3 + 1, 13_600),
    "without_agency": (12, 17_600, 18, 13_600),
    "without_remedial": (12 - 2, 17_600 - 700, 18 - 1, 13_600 - 600),
    "first_event": (3 + 1 + 1 + 3 + 1, 17_600, 9 + 4 + 1, 13_600),
    "without_respiratory": (3 + 2 + 0 + 4 + 2, 17_600, 11 + 5 + 1, 13_600),
}


@pytest.mark.parametrize("name", BY_HAND)
def test_each_row_is_the_sum_of_its_cells(name: str) -> None:
    events1, hours1, events0, hours0 = BY_HAND[name]
    row = next(item for item in gathered().rows if item.name == name)
    found = (row.rung.now_events, row.rung.now_hours, row.rung.then_events, row.rung.then_hours)
    assert tuple(number.value for number in found) == (events1, hours1, events0, hours0)
    assert (row.now_amount, row.then_amount, row.exposure) == (row.rung.now_hours, row.rung.then_hours, "")
    assert row.rung.ratio is not None
    assert row.rung.ratio.value.value == pytest.approx(events1 / hours1 / (events0 / hours0))


def test_the_series_asked_about_is_not_another_way_of_asking() -> None:
    for series in ("recordable", "dart"):
        assert series not in {row.name for row in gathered(series).rows}
    assert "without_2020_22" not in {row.name for row in gathered().rows}, "none of those years is in"


def test_every_row_has_a_name_of_its_own() -> None:
    names = [row.name for row in gathered().rows]
    assert len(names) == len(set(names))


def test_rows_are_counted_by_side_and_by_verdict() -> None:
    found = gathered()
    assert found.agreement is not None
    rows = [row for row in found.rows if row.name != "washout_30"]  # the program file's own washout: the design's row
    with_ratio = [row.rung for row in rows if row.rung.ratio is not None]
    limits = [
        (r.ratio.lower.value or 0, r.ratio.upper.value or 0, r.must_fall_below.value or 0)
        for r in with_ratio
        if r.ratio
    ]
    lower = sum(round(upper, 2) < round(below, 2) for _, upper, below in limits)
    higher = sum(round(low, 2) > 1 for low, _, _ in limits)
    counts = (found.agreement.rows, found.agreement.with_answer, found.agreement.lower, found.agreement.higher)
    assert tuple(n.value for n in counts) == (len(rows), len(with_ratio), lower, higher)
    assert found.agreement.cannot_tell.value == len(with_ratio) - lower - higher
    assert 0 < len(with_ratio) < len(rows)


def test_a_main_answer_without_a_ratio_has_no_agreement() -> None:
    assert gathered(design="staggered").agreement is None


def spread_panel(seed: int) -> Panel:
    """Cases that vary more than by chance: Poisson around gamma means."""
    dice = np.random.default_rng(seed)
    unit, quarter = np.repeat(np.arange(4), 10), np.tile(np.arange(10), 4)
    start = np.array([3, 4, 5, 6])[unit]
    state = np.where(quarter < start, 0, np.where(quarter == start, STARTING, STARTED))
    hours = dice.uniform(15_000, 30_000, unit.size).round(2)
    mean = 10 * hours / 20_000 * np.where(state == STARTED, 0.6, 1.0) * dice.gamma(3, 1 / 3, unit.size)
    return Panel(unit, quarter, state, np.zeros(40, dtype=bool), hours, dice.poisson(mean).astype(float))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_negative_binomial_errors_are_of_the_largest_likelihood(seed: int) -> None:
    """The whole negative binomial likelihood by a general optimizer, the error from its curvature."""
    panel = spread_panel(seed)
    used = panel.state != STARTING
    y, hours = panel.events[used], panel.hours[used]
    x = np.column_stack(
        [(panel.state[used] == STARTED), *[panel.unit[used] == k for k in range(4)], panel.quarter[used] / 4 - 1.125]
    ).astype(float)

    def loss(at: np.ndarray) -> float:
        mean, size = hours / 20_000 * np.exp(x @ at[:-1]), np.exp(-at[-1])
        return -float(stats.nbinom.logpmf(y, size, size / (size + mean)).sum())

    begin = np.array([0.0, *np.log([10.0] * 4), 0.0, -1.0])
    best = optimize.minimize(loss, begin, method="BFGS", options={"gtol": 1e-6})
    found = designs_by_unit.fitted(panel, ADJUSTED, 0.95, "negative_binomial")
    assert found is not None
    assert found.method == "negative_binomial"
    assert found.estimate == pytest.approx(float(np.exp(best.x[0])), rel=1e-3)
    assert found.alpha == pytest.approx(float(np.exp(best.x[-1])), rel=2e-2)
    mean = hours / 20_000 * np.exp(x @ best.x[:-1])
    covariance = np.linalg.inv(x.T @ (x * (mean / (1 + np.exp(best.x[-1]) * mean))[:, None]))
    reach = 1.959963985 * np.sqrt(covariance[0, 0])
    assert np.log(found.upper / found.lower) / 2 == pytest.approx(reach, rel=1e-2)
    plain = designs.BY_UNIT[ADJUSTED](panel, 0.95)
    assert plain.estimate != pytest.approx(found.estimate, rel=1e-3), "another weighting, another ratio"
