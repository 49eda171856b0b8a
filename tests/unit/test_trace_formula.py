"""Formulas of trace: read, filled in and worked out, from the printed text too."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from handling_review.trace.formula import Formula, Input, exact, functions_in, worked_out


def formula(expression: str, **values: float) -> Formula:
    return Formula(expression, tuple(Input(name, value) for name, value in values.items()))


@pytest.mark.parametrize(
    ("expression", "values", "named", "filled", "result"),
    [
        (
            "cases * 200000 / hours",
            {"cases": 4, "hours": 106690},
            "cases × 200000 / hours",
            "4 × 200000 / 106690",
            4 * 200000 / 106690,
        ),
        ("a / (b / c)", {"a": 8, "b": 4, "c": 2}, "a / (b / c)", "8 / (4 / 2)", 4),
        ("a / b / c", {"a": 8, "b": 4, "c": 2}, "a / b / c", "8 / 4 / 2", 1),
        ("a - (b - c)", {"a": 8, "b": 4, "c": 2}, "a - (b - c)", "8 - (4 - 2)", 6),
        ("(a + b) * c", {"a": 1, "b": 2, "c": 3}, "(a + b) × c", "(1 + 2) × 3", 9),
        ("a - b", {"a": 1, "b": -2}, "a - b", "1 - (-2)", 3),
        ("a ** -b", {"a": 2, "b": 3}, "a ^ -b", "2 ^ -3", 0.125),
        ("(a ** b) ** c", {"a": 2, "b": 3, "c": 2}, "(a ^ b) ^ c", "(2 ^ 3) ^ 2", 64),
        ("MAX(0, long_name - b)", {"long_name": 1.5, "b": 2}, "MAX(0, long name - b)", "MAX(0, 1.5 - 2)", 0),
    ],
)
def test_a_formula_with_names_with_numbers_and_worked_out(
    expression: str, values: dict[str, float], named: str, filled: str, result: float
) -> None:
    found = formula(expression, **values)
    assert found.named() == named
    assert found.filled() == filled
    assert found.result() == pytest.approx(result, rel=1e-15)
    assert worked_out(found.filled()) == pytest.approx(result, rel=1e-15)


def test_division_by_nothing_is_without_limit_or_not_defined() -> None:
    assert formula("a / b", a=3, b=0).result() == math.inf
    assert math.isnan(formula("a / b", a=0, b=0).result())
    assert worked_out("infinity × 2") == math.inf


@pytest.mark.parametrize("events", [1, 4, 57])
def test_exact_limits_are_the_chi_squared_ones(events: int) -> None:
    # Garwood 1936, Biometrika 28:437-442, by chi-squared quantiles: chi2(p, 2x) / 2 and chi2(1 - p, 2x + 2) / 2
    lower = formula("GAMMA_INV(0.025, cases)", cases=events)
    upper = formula("GAMMA_INV(1 - 0.025, cases + 1)", cases=events)
    assert lower.result() == pytest.approx(stats.chi2.ppf(0.025, 2 * events) / 2, rel=1e-12)
    assert upper.result() == pytest.approx(stats.chi2.ppf(0.975, 2 * events + 2) / 2, rel=1e-12)
    assert "GAMMA.INV" in upper.filled()
    assert worked_out(upper.filled()) == upper.result()
    assert formula("GAMMA_INV(0.025, cases)", cases=0).result() == 0


@pytest.mark.parametrize("share", [0.00135, 0.5, 0.99865])
@pytest.mark.parametrize("mean", [0.3, 5.4, 260.0])
def test_the_smallest_poisson_count(share: float, mean: float) -> None:
    assert formula("POISSON_INV(p, mean)", p=share, mean=mean).result() == stats.poisson.ppf(share, mean)


def test_moving_range_average_and_limits_within_a_life() -> None:
    assert formula("MOVING_RANGE(a, b, c)", a=1, b=4, c=2).result() == 2.5
    assert formula("AVERAGE(a, b, c)", a=1, b=4, c=2).result() == pytest.approx(7 / 3)
    assert formula("WITHIN(a, b)", a=4, b=10).result() == 4
    assert formula("WITHIN(a, b)", a=14, b=10).result() == math.inf
    assert formula("WITHIN(a, b)", a=-14, b=10).result() == math.inf


def test_functions_that_need_a_word_get_one() -> None:
    assert functions_in("MAX(1, 2) + EXP(3)") == []
    assert len(functions_in("GAMMA_INV(0.1, 2) / NORM_S_INV(0.9)")) == 2


def test_numbers_keep_all_their_digits() -> None:
    assert exact(3.0) == "3"
    assert exact(106689.9999) == "106689.9999"
    assert exact(1 / 3) == "0.3333333333333333"
    assert exact(math.inf) == "infinity"
    assert exact(math.nan) == "not defined"


def test_a_formula_may_hold_nothing_but_arithmetic() -> None:
    with pytest.raises(ValueError, match="may not hold"):
        worked_out("[1, 2]")
    with pytest.raises(KeyError):
        worked_out("open(1)")
