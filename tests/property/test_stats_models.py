"""What must hold of strata, comparisons with controls, probabilities, power and many units."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handling_review.stats import (
    bayes,
    bounds,
    casemix,
    groups,
    multiplicity,
    power,
    ratios,
    shrinkage,
    strata,
    trend,
)

steady = settings(deadline=None, derandomize=True, max_examples=100)

small = st.integers(0, 40)
counts = st.one_of(small, st.integers(0, 20_000))
hours = st.floats(1e3, 1e7)
methods = st.sampled_from(["exact", "mid_p"])
strata_rows = st.lists(st.tuples(small, hours, small, hours), min_size=1, max_size=8)


def _columns(rows: list[tuple[float, ...]]) -> list[np.ndarray]:
    return [np.array(column, dtype=float) for column in zip(*rows, strict=True)]


@steady
@given(counts, hours, counts, hours, methods)
def test_one_stratum_is_the_plain_rate_ratio(y1: int, t1: float, y0: int, t0: float, method: str) -> None:
    found = strata.exact_common_ratio([y1], [t1], [y0], [t0], method=method)
    plain = ratios.rate_ratio(y1, t1, y0, t0, method=method)
    assert found.lower == pytest.approx(plain.lower, rel=1e-9)
    assert found.upper == pytest.approx(plain.upper, rel=1e-9)
    assert found.p_value == pytest.approx(plain.p_value, rel=1e-7, abs=1e-300)
    assert found.estimate == pytest.approx(plain.estimate, rel=1e-9, nan_ok=True)


@steady
@given(strata_rows, methods, st.randoms())
def test_the_order_of_strata_does_not_matter(rows: list, method: str, order: object) -> None:
    turned = list(rows)
    order.shuffle(turned)  # type: ignore[attr-defined]
    for function in (
        lambda data: strata.exact_common_ratio(*data, method=method),
        lambda data: strata.mantel_haenszel(*data),
    ):
        one, other = function(_columns(rows)), function(_columns(turned))
        assert one.lower == pytest.approx(other.lower, rel=1e-9)
        assert one.upper == pytest.approx(other.upper, rel=1e-9)
        assert one.homogeneity_p == pytest.approx(other.homogeneity_p, rel=1e-6, nan_ok=True)


@steady
@given(strata_rows)
def test_the_exact_common_interval_holds_the_mid_p_one_and_the_estimate(rows: list) -> None:
    data = _columns(rows)
    exact = strata.exact_common_ratio(*data, method="exact")
    mid_p = strata.exact_common_ratio(*data, method="mid_p")
    assert exact.lower <= mid_p.lower * (1 + 1e-9)
    assert mid_p.upper <= exact.upper * (1 + 1e-9)
    assert mid_p.p_value <= exact.p_value + 1e-12
    if not math.isnan(mid_p.estimate):
        assert mid_p.lower <= mid_p.estimate <= mid_p.upper


@steady
@given(strata_rows, methods)
def test_exchanging_the_groups_inverts_the_common_ratio(rows: list, method: str) -> None:
    y1, t1, y0, t0 = _columns(rows)
    for function in (
        lambda *data: strata.exact_common_ratio(*data, method=method),
        strata.mantel_haenszel,
    ):
        one, other = function(y1, t1, y0, t0), function(y0, t0, y1, t1)
        assert one.lower * other.upper == pytest.approx(1, rel=1e-8) or one.lower == 0
        assert one.upper * other.lower == pytest.approx(1, rel=1e-8) or other.lower == 0


@steady
@given(strata_rows, st.integers(1, 5), methods)
def test_splitting_a_stratum_into_like_parts_changes_nothing(rows: list, parts: int, method: str) -> None:
    """Events of one stratum spread over parts with the same share of hours give the same ratio."""
    y1, t1, y0, t0 = _columns(rows)
    whole = strata.exact_common_ratio(y1, t1, y0, t0, method=method)
    first = [np.diff([round(v[0] * k / parts) for k in range(parts + 1)]) for v in (y1, y0)]
    split = strata.exact_common_ratio(
        np.append(first[0], y1[1:]),
        np.append(np.full(parts, t1[0] / parts), t1[1:]),
        np.append(first[1], y0[1:]),
        np.append(np.full(parts, t0[0] / parts), t0[1:]),
        method=method,
    )
    assert split.lower == pytest.approx(whole.lower, rel=1e-8)
    assert split.upper == pytest.approx(whole.upper, rel=1e-8)
    assert split.p_value == pytest.approx(whole.p_value, rel=1e-6, abs=1e-300)


@steady
@given(small, small, small, small, methods)
def test_a_ratio_of_ratios_turns_with_its_table(a: int, b: int, c: int, d: int, method: str) -> None:
    found = casemix.ratio_of_ratios(a, b, c, d, method=method)
    turned = casemix.ratio_of_ratios(c, d, a, b, method=method)
    mirrored = casemix.ratio_of_ratios(a, c, b, d, method=method)
    assert found.lower * turned.upper == pytest.approx(1, rel=1e-8) or found.lower == 0
    assert found.lower == pytest.approx(mirrored.lower, rel=1e-8)
    assert found.p_value == pytest.approx(turned.p_value, rel=1e-8)
    assert 0 <= found.p_value <= 1
    if not math.isnan(found.estimate):
        assert found.lower <= found.estimate <= found.upper


@steady
@given(small, hours, small, hours, small, hours, small, hours, st.floats(0.1, 10))
def test_a_change_that_both_groups_share_cancels(
    a: int, ta: float, b: int, tb: float, c: int, tc: float, d: int, td: float, factor: float
) -> None:
    """Counting the hours after differently in both groups leaves the difference in differences alone."""
    found = groups.difference_in_differences(a, ta, b, tb, c, tc, d, td)
    other = groups.difference_in_differences(a, ta * factor, b, tb, c, tc * factor, d, td)
    assert other.lower == pytest.approx(found.lower, rel=1e-9)
    assert other.upper == pytest.approx(found.upper, rel=1e-9)
    assert other.p_value == pytest.approx(found.p_value, rel=1e-6, abs=1e-300)


@steady
@given(counts, hours, counts, hours, st.floats(-1, 0.99), st.floats(0.001, 0.5))
def test_more_reduction_is_never_more_probable(
    y1: int, t1: float, y0: int, t0: float, reduction: float, step: float
) -> None:
    most = min(0.995, reduction + step)
    fewer, more = (bayes.reduction_probability(y1, t1, y0, t0, r) for r in (reduction, most))
    assert 0 <= more <= fewer <= 1


@steady
@given(small, hours, small, hours, st.floats(0.01, 0.99))
def test_a_quantile_is_where_the_probability_says(y1: int, t1: float, y0: int, t0: float, p: float) -> None:
    at = bayes.ratio_quantiles(y1, t1, y0, t0, p)
    assert bayes.reduction_probability(y1, t1, y0, t0, 1 - at) == pytest.approx(p, abs=1e-6) or at < 1e-9


@steady
@given(st.floats(1, 60), st.floats(0.2, 5), st.floats(0, 3), methods)
def test_power_is_a_probability_and_mid_p_has_more(mean: float, hours_ratio: float, ratio: float, method: str) -> None:
    found = power.power(mean, hours_ratio, ratio, method=method)
    assert 0 <= found <= 1
    assert power.power(mean, hours_ratio, ratio, method="exact") <= power.power(mean, hours_ratio, ratio) + 1e-12


@settings(steady, max_examples=40)
@given(st.floats(2, 80), st.floats(0.3, 3))
def test_what_can_be_detected_is_detected_with_the_power_asked_for(mean: float, hours_ratio: float) -> None:
    reduction = power.smallest_detectable(mean, hours_ratio)
    if math.isnan(reduction):
        assert power.power(mean, hours_ratio, 0.0) < 0.8
    else:
        assert power.power(mean, hours_ratio, 1 - reduction) == pytest.approx(0.8, abs=0.001)


@steady
@given(st.lists(st.floats(0, 1), min_size=1, max_size=30), st.floats(0, 1))
def test_adjusted_p_values_are_ordered_and_never_smaller(p_values: list[float], level: float) -> None:
    found = multiplicity.benjamini_hochberg(p_values)
    raw = np.array(p_values)
    assert (found >= raw - 1e-15).all()
    assert (found <= np.minimum(1, raw * raw.size) + 1e-12).all()
    order = np.argsort(raw, kind="stable")
    assert (np.diff(found[order]) >= -1e-15).all()


@settings(steady, max_examples=40)
@given(st.lists(st.tuples(st.integers(0, 30), st.floats(2e4, 3e5)), min_size=2, max_size=12), st.booleans())
def test_shrunk_rates_lie_between_the_unit_and_the_prior(rows: list, likelihood: bool) -> None:
    events, time = _columns(rows)
    found = shrinkage.gamma_poisson(events, time, "ml" if likelihood else "marshall")
    raw = events * 2e5 / time
    low, high = np.minimum(raw, found.prior.mean_per_200k), np.maximum(raw, found.prior.mean_per_200k)
    slack = 1e-6 * (1 + high)
    assert (low - slack <= found.mean).all()
    assert (found.mean <= high + slack).all()
    assert found.worst_quarter.sum() == pytest.approx(math.ceil(events.size / 4), abs=1e-4)


@steady
@given(small, hours, small, hours, methods)
def test_two_bands_are_the_rate_ratio_of_the_second_to_the_first(
    y0: int, t0: float, y1: int, t1: float, method: str
) -> None:
    found = trend.across_bands([y0, y1], [t0, t1], method=method)
    plain = ratios.rate_ratio(y1, t1, y0, t0, method=method)
    assert found.lower == pytest.approx(plain.lower, rel=1e-9)
    assert found.upper == pytest.approx(plain.upper, rel=1e-9)
    assert found.p_value == pytest.approx(plain.p_value, rel=1e-8, abs=1e-300)


@steady
@given(small, hours, small, hours, small, small, st.data())
def test_whatever_the_unclear_records_are_the_ratio_stays_within_the_bounds(
    y1: int, t1: float, y0: int, t0: float, unclear1: int, unclear0: int, data: st.DataObject
) -> None:
    found = bounds.ratio_bounds(y1, t1, y0, t0, unclear1, unclear0)
    plus1, plus0 = data.draw(st.integers(0, unclear1)), data.draw(st.integers(0, unclear0))
    truth = ratios.rate_ratio(y1 + plus1, t1, y0 + plus0, t0)
    assert found.most_favourable.lower <= truth.lower * (1 + 1e-12)
    assert truth.upper <= found.least_favourable.upper * (1 + 1e-12)
    if not any(map(math.isnan, (found.most_favourable.estimate, found.least_favourable.estimate))):
        assert found.most_favourable.estimate <= truth.estimate <= found.least_favourable.estimate
