"""What must hold of charts, funnel limits, severity and money for every input."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handling_review.stats import charts, cusum, funnel, money, severity

steady = settings(deadline=None, derandomize=True, max_examples=100)

periods = st.lists(st.tuples(st.integers(0, 60), st.floats(2e4, 4e5)), min_size=2, max_size=24)


@steady
@given(periods, st.floats(0.1, 10))
def test_the_unit_of_time_scales_a_chart_and_changes_no_signal(rows: list, unit: float) -> None:
    events, hours = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    found = charts.u_limits(events, hours, len(rows))
    other = charts.u_limits(events, hours * unit, len(rows))
    assert other.upper * unit == pytest.approx(found.upper, rel=1e-9)
    assert (found.lower <= found.centre_per_200k).all()
    assert (found.centre_per_200k <= found.upper).all()
    assert (found.false_alarm <= 0.0027).all()


@steady
@given(st.lists(st.floats(0, 1000), min_size=0, max_size=40), st.floats(1, 999))
def test_signals_read_backwards_are_the_same_signals(values: list[float], centre: float) -> None:
    found = charts.signals(values, centre, 10, 900)
    turned = charts.signals(values[::-1], centre, 10, 900)
    assert found.outside.tolist() == turned.outside.tolist()[::-1]
    assert found.run.tolist() == turned.run.tolist()[::-1]
    assert found.trend.sum() == turned.trend.sum()


@steady
@given(st.floats(0.05, 20), st.floats(1.1, 4), st.integers(1, 12))
def test_a_higher_threshold_waits_longer(mean: float, ratio: float, h: int) -> None:
    k = round(mean * (ratio - 1) / math.log(ratio) * 20) / 20 or 0.05
    lengths = [cusum.run_length(mean, k, height) for height in (h, h + 1)]
    assert 1 <= lengths[0] <= lengths[1]
    assert cusum.run_length(mean * ratio, k, h) <= lengths[0] * (1 + 1e-9)


@steady
@given(st.floats(0.5, 50), st.floats(5e3, 5e6), st.floats(0, 30))
def test_funnel_limits_hold_the_rate_and_widen_with_spread(rate: float, hours: float, tau2: float) -> None:
    plain, wide = funnel.limits(rate, [hours]), funnel.limits(rate, [hours], tau2=tau2)
    assert (plain.lower <= rate).all()
    assert (wide.upper >= plain.upper).all()
    assert (wide.lower <= plain.lower).all()


@settings(steady, max_examples=30)
@given(st.lists(st.integers(0, 180), min_size=1, max_size=30), st.floats(1e4, 1e7))
def test_severity_without_the_longest_case_is_never_more(days: list[int], hours: float) -> None:
    found = severity.compound_rate(days, hours, draws=400)
    assert 0 <= found.without_longest <= found.rate_per_200k
    assert 0 <= found.lower <= found.upper
    more = severity.compound_rate(days, hours * 2, draws=400)
    assert more.upper == pytest.approx(found.upper / 2, rel=1e-9)


@steady
@given(st.floats(0, 1e6), st.lists(st.floats(-1e5, 1e6), min_size=1, max_size=15), st.floats(0, 0.3))
def test_a_higher_discount_rate_pays_back_no_sooner(outlay: float, flows: list[float], rate: float) -> None:
    whole = [-outlay, *[abs(flow) for flow in flows]]
    assert money.payback(whole, rate) >= money.payback(whole) - 1e-6
    assert money.npv(whole, rate) <= money.npv(whole, 0) + 1e-6


@steady
@given(st.floats(1, 1e6), st.floats(0, 1e5), st.floats(100, 1e5), st.integers(1, 20), st.floats(0, 0.2))
def test_break_even_cases_make_a_present_value_of_0(
    outlay: float, yearly: float, per_case: float, years: int, rate: float
) -> None:
    cases = money.break_even_cases(outlay, yearly, per_case, years, rate)
    flows = [-outlay] + [cases * per_case - yearly] * years
    assert money.npv(flows, rate) == pytest.approx(0, abs=1e-6 * (outlay + yearly * years))
