"""Every reference number against ours, to the tolerance its case states."""

from __future__ import annotations

from functools import cache

import agreement
import pytest

CASES = [(name, case["id"]) for name in agreement.checks() for case in agreement.cases(name)]

# cases in the file, cases with a comparison, comparisons: a file emptied by mistake cannot pass unnoticed
SIZES = {
    "rate": (12, 12, 16),
    "rate_ci": (48, 47, 175),
    "rate_ratio": (37, 37, 209),
    "rate_difference": (21, 20, 48),
    "proportion": (38, 38, 105),
    "stratified": (7, 7, 99),
    "regression": (4, 4, 22),
    "bayes": (7, 7, 77),
    "power": (68, 65, 130),
    "multiple_testing": (9, 9, 112),
    "empirical_bayes": (8, 5, 186),
    "control_charts": (26, 23, 350),
    "funnel": (13, 13, 214),
}


@cache
def _compared(name: str) -> dict[str, list[agreement.Comparison]]:
    check = agreement.checks()[name]
    return {case["id"]: list(agreement.compare(case, check)) for case in agreement.cases(name)}


@pytest.mark.parametrize(("name", "case"), CASES)
def test_our_numbers_equal_the_reference(name: str, case: str) -> None:
    apart = [one for one in _compared(name)[case] if not one.is_within]
    assert apart == []


@pytest.mark.parametrize("name", agreement.checks())
def test_every_reference_file_is_compared_in_full(name: str) -> None:
    made = _compared(name)
    assert (
        len(made),
        sum(bool(of_case) for of_case in made.values()),
        sum(len(of_case) for of_case in made.values()),
    ) == SIZES[name]


def test_the_sizes_cover_every_reference_file_that_is_checked() -> None:
    assert set(SIZES) == set(agreement.checks())


@pytest.mark.parametrize("name", agreement.checks())
def test_every_case_names_its_source_and_tolerance(name: str) -> None:
    for case in agreement.cases(name):
        assert case["source"]
        assert case["found_or_memory"]
        assert set(case["tolerance"]) == {"abs", "rel"}


def test_the_comparison_itself_can_fail() -> None:
    case = {"id": "x", "tolerance": {"abs": 1e-9, "rel": 1e-9}}
    (right,) = agreement.compare(case, lambda _: {"q": (1.0, 1.0)})
    (wrong,) = agreement.compare(case, lambda _: {"q": (1.0, 1.0 + 1e-6)})
    (missing,) = agreement.compare(case, lambda _: {"q": (float("nan"), 1.0)})
    (infinite,) = agreement.compare(case, lambda _: {"q": (1e300, float("inf"))})
    assert [one.is_within for one in (right, wrong, missing, infinite)] == [True, False, False, False]
