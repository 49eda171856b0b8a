"""Rates over time, against drawn tables: the answer stands as the sum it is."""

from __future__ import annotations

import pytest

from handling_review.evidence import quarters, rates
from spec import made_up_tables as made_up

YEARS = """
quarter  unit phase  handling non_handling dart days_away hours
2023-Q4  A    before 2        1            1    1         50000
2024-Q1  A    before 3        1            2    1         60000
2024-Q1  B    never  1        0            1    0         40000
2024-Q2  A    before 0        2            1    0         70000
2024-Q3  A    after  4        0            2    1         80000
2024-Q4  A    after  6        1            3    2         90000
2025-Q1  A    after  5        1            2    1         100000
"""


def gathered(**options: object) -> rates.RatesEvidence:
    return rates.gather(made_up.drawn(YEARS, **options), made_up.program())  # type: ignore[arg-type]


def quarter(evidence: rates.RatesEvidence, name: str) -> rates.Span:
    return next(span for span in evidence.quarters if span.quarter == name)


def test_a_quarter_adds_cases_and_hours_of_all_units_and_phases_and_divides_last() -> None:
    found = quarter(gathered(), "2024-Q1").of("handling")
    assert (found.events.value, found.hours.value) == (3 + 1, 60_000 + 40_000)
    assert found.rate is not None
    assert found.rate.value == pytest.approx((3 + 1) * 200_000 / (60_000 + 40_000))
    assert found.rate.key == "rate/facility/2024-Q1/handling"


def test_the_interval_of_four_cases_is_garwoods() -> None:
    # Garwood 1936, exact limits of a count of 4: 1.090 and 10.242.
    found = quarter(gathered(), "2024-Q1").of("handling")
    assert found.lower is not None
    assert found.upper is not None
    assert found.lower.value == pytest.approx(1.090 * 2, abs=0.002)
    assert found.upper.value == pytest.approx(10.242 * 2, abs=0.002)


def test_no_case_has_a_rate_of_zero_and_a_one_sided_upper_limit() -> None:
    found = quarter(gathered(), "2024-Q2").of("handling")
    assert found.rate is not None
    assert found.rate.value == 0
    assert found.lower is None
    assert found.limit is not None
    # The largest mean with at least a 5 % chance of no case is -ln 0.05 = 2.9957.
    assert found.limit.value == pytest.approx(2.9957 * 200_000 / 70_000, abs=0.001)


def test_four_quarters_are_added_before_dividing_and_never_averaged() -> None:
    rolling = {span.quarter: span for span in gathered().rolling}
    found = rolling["2024-Q4"].of("handling")
    hours = 60_000 + 40_000 + 70_000 + 80_000 + 90_000
    assert found.rate is not None
    assert found.rate.value == pytest.approx((3 + 1 + 0 + 4 + 6) * 200_000 / hours)


def test_four_quarters_need_four_quarters() -> None:
    assert [span.quarter for span in gathered().rolling] == ["2024-Q3", "2024-Q4", "2025-Q1"]


def test_an_incomplete_quarter_has_counts_and_hours_but_no_rate() -> None:
    evidence = gathered(gaps={"2024-Q3": "hours of A stop on 2024-08-16"})
    found = quarter(evidence, "2024-Q3").of("handling")
    assert (found.events.value, found.hours.value) == (4, 80_000)
    assert found.rate is None
    assert found.upper is None
    assert found.limit is None
    assert found.withheld == "hours of A stop on 2024-08-16"


def test_an_incomplete_quarter_breaks_every_run_of_four_that_holds_it() -> None:
    evidence = gathered(gaps={"2024-Q3": "hours missing"})
    assert [span.is_complete for span in evidence.rolling] == [False, False, False]
    assert evidence.recent is None
    assert all(span.of("handling").rate is None for span in evidence.rolling)


def test_the_latest_complete_quarter_skips_an_incomplete_one_at_the_end() -> None:
    evidence = gathered(gaps={"2025-Q1": "the log ends on 2025-02-14"})
    assert evidence.latest is not None
    assert evidence.latest.quarter == "2024-Q4"


def test_no_complete_quarter_leaves_nothing_to_stand_on() -> None:
    names = ("2023-Q4", "2024-Q1", "2024-Q2", "2024-Q3", "2024-Q4", "2025-Q1")
    evidence = gathered(gaps=dict.fromkeys(names, "hours missing"))
    assert evidence.latest is None
    assert evidence.recent is None
    assert evidence.comparisons == ()


def test_the_latest_quarter_is_set_against_the_same_quarter_a_year_before() -> None:
    found = {item.name: item for item in gathered().comparisons}["same_quarter_last_year"]
    assert found.labels == ("2025-Q1", "2024-Q1")
    assert found.ratio is not None
    assert found.ratio.value.value == pytest.approx((5 / 100_000) / (4 / 100_000))
    assert found.verdict == "few_cases"  # four cases a year before


def test_a_unit_with_fewer_than_five_cases_has_an_upper_limit_instead_of_a_rate() -> None:
    cell = next(c for c in gathered().unit_quarters if (c.unit, c.quarter) == ("A", "2024-Q3"))
    found = cell.rates[0]
    assert found.events.value == 4
    assert found.rate is None
    assert found.limit is not None
    # One-sided 95 % upper limit of 4 cases: 9.1535 (chi-square with 10 degrees of freedom, 18.307 / 2).
    assert found.limit.value == pytest.approx(18.307 / 2 * 200_000 / 80_000, abs=0.001)


def test_a_unit_with_five_cases_has_a_rate_marked_unstable() -> None:
    cell = next(c for c in gathered().unit_quarters if (c.unit, c.quarter) == ("A", "2025-Q1"))
    assert cell.rates[0].rate is not None
    assert cell.rates[0].reliability == "unstable"


@pytest.mark.parametrize(
    ("name", "steps", "expected"),
    [("2025-Q1", 1, "2024-Q4"), ("2025-Q3", 4, "2024-Q3"), ("2025-Q4", 0, "2025-Q4"), ("2024-Q2", 6, "2022-Q4")],
)
def test_earlier_quarters_are_counted_back_over_year_ends(name: str, steps: int, expected: str) -> None:
    assert quarters.previous(name, steps) == expected


def test_hours_add_up_without_rounding_drift() -> None:
    # 0.1 added a hundred times in binary is 9.99999999999998; the review must say 10.
    lines = [f"2024-Q1  U{i:03d} never 0 0.1" for i in range(100)]
    tables = made_up.drawn("quarter unit phase handling hours\n" + "\n".join(lines))
    evidence = rates.gather(tables, made_up.program())
    assert evidence.quarters[0].of("handling").hours.value == 10.0
