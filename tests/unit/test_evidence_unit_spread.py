"""Units weighed against each other: published counts, and what is said of units that do not differ."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from handling_review.evidence import rates, unit_spread, units
from handling_review.page import spread
from handling_review.page.words import spread as words_spread
from spec import made_up_tables as made_up

# Failures of ten pumps in thousands of hours: Gaver & O'Muircheartaigh 1987, Technometrics 29:1-15, table 3.
PUMPS = ((5, 94.320), (1, 15.720), (5, 62.880), (14, 125.760), (3, 5.240),
         (19, 31.440), (1, 1.048), (1, 1.048), (4, 2.096), (22, 10.480))  # fmt: skip


def spread_of(counts: tuple[tuple[int, float], ...], **settings: float) -> unit_spread.UnitSpread:
    lines = ["quarter unit phase handling hours"]
    lines += [f"2024-Q1 P{i:02d} never {events} {round(hours * 1000)}" for i, (events, hours) in enumerate(counts)]
    tables, program = made_up.drawn("\n".join(lines)), made_up.program(**settings)
    complete = rates.gather(tables, program).complete()
    return unit_spread.gather(units.gather(tables, complete, program), program)


def test_the_pumps_differ_and_are_drawn_towards_the_whole() -> None:
    found = spread_of(PUMPS)
    assert found.differ
    own = np.array([events / hours * 200 for events, hours in PUMPS])  # per 200,000 hours
    whole = sum(e for e, _ in PUMPS) / sum(h for _, h in PUMPS) * 200
    for row in found.rows:
        assert row.rate.value is not None
        assert row.lower.value is not None
        assert row.upper.value is not None
        assert row.lower.value < row.rate.value < row.upper.value
    few, many = found.rows[6], found.rows[3]  # 1 in 1,048 hours against 14 in 125,760
    assert float(few.weight.value or 0) > 5 * float(many.weight.value or 0)
    assert found.rows[6].rate.value < own[6]  # type: ignore[operator]
    assert whole < own[6]
    highest = sum(float(row.among_highest.value or 0) for row in found.rows)
    assert highest == pytest.approx(3, abs=0.01), "ceil(10 / 4) units are among the highest quarter"


def test_limits_reach_to_the_rate_where_the_distribution_is_very_skewed() -> None:
    found = spread_of(((0, 300.0), (30, 100.0)), confidence=0.5)
    low = found.rows[0]
    assert float(low.lower.value or 0) < float(low.rate.value or 0) == float(low.upper.value or 0)


def test_one_common_rate_is_tested_by_the_deviance() -> None:
    found = spread_of(PUMPS)
    y, t = np.array(PUMPS).T
    expected = t * y.sum() / t.sum()
    deviance = 2 * float((y * np.log(y / expected)).sum())
    assert found.same_rate is not None
    assert found.same_rate.value == pytest.approx(stats.chi2.sf(deviance, len(PUMPS) - 1), rel=1e-6)
    assert "differ more than chance" in words_spread.spread_sentence(found).text


def test_adjusted_values_are_benjamini_hochberg_s() -> None:
    found = spread_of(PUMPS)
    y, t = np.array(PUMPS).T
    plain = []
    for a, ta in zip(y, t, strict=True):
        n, share = y.sum(), ta / t.sum()
        below = stats.binom.cdf(a - 1, n, share) + 0.5 * stats.binom.pmf(a, n, share)
        plain.append(min(1.0, 2 * min(below, 1 - below)))  # central mid-P
    wanted = stats.false_discovery_control(plain)
    assert [row.adjusted.value for row in found.rows] == pytest.approx(wanted.tolist(), rel=1e-6)


def test_units_alike_are_said_to_be_alike() -> None:
    found = spread_of(((10, 100.0), (11, 100.0), (9, 100.0), (10, 100.0)))
    assert not found.differ
    assert "no more than chance" in words_spread.spread_sentence(found).text
    assert all(row.weight.value == 1 for row in found.rows), "drawn all the way"
    table = spread.spread_table(found)
    assert table is not None
    assert len(table.rows) == 4


@pytest.mark.parametrize(("counts", "reason"), [(((3, 10.0),), "fewer than two"), (((0, 10.0), (0, 5.0)), "no case")])
def test_nothing_to_weigh_is_said(counts: tuple[tuple[int, float], ...], reason: str) -> None:
    found = spread_of(counts)
    assert reason in found.reason
    assert spread.spread_table(found) is None
    assert words_spread.spread_sentence(found).text == ""
