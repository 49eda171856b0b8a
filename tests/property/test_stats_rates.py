"""What must hold of rates, ratios and proportions for every input."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handling_review.stats import proportions, rates, ratios

steady = settings(deadline=None, derandomize=True, max_examples=200)

counts = st.one_of(st.integers(0, 60), st.integers(0, 1_000_000))
hours = st.one_of(st.floats(1e3, 1e7), st.floats(1e-3, 1e10))
confidences = st.sampled_from([0.8, 0.9, 0.95, 0.99])
methods = st.sampled_from(["exact", "mid_p"])
nulls = st.floats(0.05, 20)


@steady
@given(counts, hours, confidences, methods)
def test_a_rate_lies_in_its_interval(y: int, t: float, confidence: float, method: str) -> None:
    found = rates.rate_interval(y, t, confidence, method)
    assert 0 <= found.lower <= rates.rate(y, t) <= found.upper < math.inf


@steady
@given(counts, hours, confidences)
def test_the_exact_interval_holds_the_mid_p_one(y: int, t: float, confidence: float) -> None:
    exact = rates.rate_interval(y, t, confidence, "exact")
    mid_p = rates.rate_interval(y, t, confidence, "mid_p")
    assert exact.lower <= mid_p.lower
    assert mid_p.upper <= exact.upper


@steady
@given(counts, hours, confidences, methods)
def test_more_cases_move_the_rate_and_both_limits_up(y: int, t: float, confidence: float, method: str) -> None:
    few, more = (rates.rate_interval(k, t, confidence, method) for k in (y, y + 1))
    assert rates.rate(y, t) < rates.rate(y + 1, t)
    assert few.lower < more.lower
    assert few.upper < more.upper


@steady
@given(counts, hours, confidences, methods)
def test_more_hours_move_the_rate_and_both_limits_down(y: int, t: float, confidence: float, method: str) -> None:
    short, long = (rates.rate_interval(y, t * k, confidence, method) for k in (1, 1.5))
    assert long.lower <= short.lower
    assert long.upper < short.upper


@steady
@given(st.lists(st.tuples(st.integers(0, 50), st.integers(1, 4_000_000)), min_size=1, max_size=12))
def test_splitting_hours_and_cases_over_rows_changes_nothing(rows: list[tuple[int, int]]) -> None:
    """Hours in quarter hours, so that their sum is exact in any order."""
    y, t = sum(row[0] for row in rows), sum(row[1] for row in rows) / 4
    weights = np.array([row[1] / 4 for row in rows])
    split = rates.rate([row[0] for row in rows], weights)
    assert float((split * weights).sum() / weights.sum()) == pytest.approx(rates.rate(y, t), rel=1e-12)


@steady
@given(counts, hours, counts, hours, confidences, methods)
def test_the_ratio_lies_in_its_interval(y1: int, t1: float, y0: int, t0: float, confidence: float, method: str) -> None:
    found = ratios.rate_ratio(y1, t1, y0, t0, confidence, method)
    if y1 + y0 == 0:
        assert math.isnan(found.estimate)
        assert (found.lower, found.upper, found.p_value) == (0, math.inf, 1)
    else:
        assert 0 <= found.lower <= found.estimate <= found.upper
    assert 0 <= found.p_value <= 1


@steady
@given(counts, hours, counts, hours, confidences)
def test_the_exact_ratio_interval_holds_the_mid_p_one(
    y1: int, t1: float, y0: int, t0: float, confidence: float
) -> None:
    exact = ratios.rate_ratio(y1, t1, y0, t0, confidence, "exact")
    mid_p = ratios.rate_ratio(y1, t1, y0, t0, confidence, "mid_p")
    assert exact.lower <= mid_p.lower * (1 + 1e-12)
    assert mid_p.upper <= exact.upper * (1 + 1e-12)
    assert mid_p.p_value <= exact.p_value + 1e-12


@steady
@given(counts, hours, counts, hours, confidences, methods, nulls)
def test_p_is_small_exactly_when_the_interval_leaves_out_the_null(
    y1: int, t1: float, y0: int, t0: float, confidence: float, method: str, null: float
) -> None:
    found = ratios.rate_ratio(y1, t1, y0, t0, confidence, method, null)
    alpha = 1 - confidence
    if abs(found.p_value - alpha) > 1e-9:  # on the border itself rounding decides
        assert (found.p_value < alpha) == (null < found.lower or null > found.upper)


@steady
@given(counts, hours, counts, hours, confidences, methods)
def test_exchanging_the_groups_inverts_the_ratio(
    y1: int, t1: float, y0: int, t0: float, confidence: float, method: str
) -> None:
    found = ratios.rate_ratio(y1, t1, y0, t0, confidence, method)
    turned = ratios.rate_ratio(y0, t0, y1, t1, confidence, method)
    assert found.lower * turned.upper == pytest.approx(1, rel=1e-12) or y1 == 0
    assert found.upper * turned.lower == pytest.approx(1, rel=1e-12) or y0 == 0
    assert found.p_value == pytest.approx(turned.p_value, rel=1e-9, abs=1e-300)


@steady
@given(counts, hours, counts, hours, st.floats(0.01, 100), methods)
def test_the_unit_of_time_does_not_matter_to_a_ratio(
    y1: int, t1: float, y0: int, t0: float, unit: float, method: str
) -> None:
    found = ratios.rate_ratio(y1, t1, y0, t0, method=method)
    other = ratios.rate_ratio(y1, t1 * unit, y0, t0 * unit, method=method)
    assert other.lower == pytest.approx(found.lower, rel=1e-12)
    assert other.upper == pytest.approx(found.upper, rel=1e-12)
    assert other.p_value == pytest.approx(found.p_value, rel=1e-6, abs=1e-300)


@steady
@given(counts, hours, counts, hours, confidences, methods)
def test_one_more_case_after_moves_the_ratio_interval_up(
    y1: int, t1: float, y0: int, t0: float, confidence: float, method: str
) -> None:
    found, more = (ratios.rate_ratio(k, t1, y0, t0, confidence, method) for k in (y1, y1 + 1))
    assert found.lower < more.lower
    assert found.upper < more.upper or y0 == 0


@steady
@given(counts, hours, counts, hours, confidences, methods)
def test_the_difference_turns_with_the_groups_and_gives_the_cases_avoided(
    y1: int, t1: float, y0: int, t0: float, confidence: float, method: str
) -> None:
    found = ratios.rate_difference(y1, t1, y0, t0, confidence, method)
    turned = ratios.rate_difference(y0, t0, y1, t1, confidence, method)
    assert found.lower <= found.estimate <= found.upper
    assert (turned.estimate, turned.lower, turned.upper) == (-found.estimate, -found.upper, -found.lower)
    avoided = ratios.cases_avoided(y1, t1, y0, t0, confidence, method)
    assert avoided.lower == pytest.approx(-found.upper * t1 / 200_000, rel=1e-12)
    assert avoided.upper == pytest.approx(-found.lower * t1 / 200_000, rel=1e-12)
    slack = 1e-9 * (y1 + y0 * t1 / t0) + 1e-12
    assert avoided.lower - slack <= avoided.estimate <= avoided.upper + slack


@settings(steady, max_examples=60)
@given(st.lists(st.tuples(counts, hours, counts, hours), min_size=1, max_size=8), methods)
def test_lists_give_what_single_numbers_give(rows: list[tuple[int, float, int, float]], method: str) -> None:
    y1, t1, y0, t0 = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    together = ratios.rate_ratio(y1, t1, y0, t0, method=method)
    gaps = ratios.rate_difference(y1, t1, y0, t0, method=method)
    for place, row in enumerate(rows):
        single = ratios.rate_ratio(*row, method=method)
        assert single.lower == together.lower[place]
        assert single.upper == together.upper[place]
        assert single.p_value == together.p_value[place]
        assert ratios.rate_difference(*row, method=method).lower == gaps.lower[place]


@steady
@given(st.integers(0, 1000), st.integers(0, 1000), confidences)
def test_a_proportion_lies_in_its_interval_and_mirrors(yes: int, no: int, confidence: float) -> None:
    if yes + no == 0:
        return
    found = proportions.wilson(yes, yes + no, confidence)
    mirror = proportions.wilson(no, yes + no, confidence)
    assert 0 <= found.lower <= found.estimate <= found.upper <= 1
    assert found.lower == pytest.approx(1 - mirror.upper, abs=1e-14)


@steady
@given(st.integers(1, 400), st.integers(1, 400), st.data())
def test_a_difference_of_proportions_turns_with_the_groups(n1: int, n0: int, data: st.DataObject) -> None:
    x1, x0 = data.draw(st.integers(0, n1)), data.draw(st.integers(0, n0))
    found, turned = proportions.newcombe(x1, n1, x0, n0), proportions.newcombe(x0, n0, x1, n1)
    assert -1 <= found.lower <= found.estimate <= found.upper <= 1
    assert found.lower == pytest.approx(-turned.upper, abs=1e-14)
