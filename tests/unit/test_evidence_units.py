"""Units side by side: order, small numbers, and which one stands out."""

from __future__ import annotations

import pytest

from handling_review.evidence import units
from handling_review.stats import ratios
from spec import made_up_tables as made_up

FOUR = ("2024-Q1", "2024-Q2", "2024-Q3", "2024-Q4")


def gathered(cells: dict[str, tuple[int, int]], **options: object) -> units.UnitsEvidence:
    """Units with so many cases and hours a quarter in each of four quarters."""
    lines = [f"{quarter} {unit} never {events} {hours}" for quarter in FOUR for unit, (events, hours) in cells.items()]
    table = made_up.drawn("quarter unit phase handling hours\n" + "\n".join(lines), **options)  # type: ignore[arg-type]
    return units.gather(table, FOUR, made_up.program())


def row(found: units.UnitsEvidence, unit: str) -> units.UnitRow:
    return next(r for r in found.rows if r.unit == unit)


def test_units_stand_in_alphabetical_order_whatever_their_rate() -> None:
    found = gathered({"b": (1, 20_000), "A": (9, 20_000), "c": (4, 20_000)})
    assert [r.name for r in found.rows] == ["Unit A", "Unit b", "Unit c"]


@pytest.mark.parametrize(
    ("cases_a_quarter", "is_rated", "trust"), [(1, False, "few"), (2, True, "unstable"), (4, True, "plain")]
)
def test_rates_need_five_cases_and_are_plain_from_sixteen(cases_a_quarter: int, is_rated: bool, trust: str) -> None:
    found = row(gathered({"A": (cases_a_quarter, 25_000), "B": (4, 25_000)}), "A").overall
    assert found.events.value == 4 * cases_a_quarter
    assert (found.rate is not None) == is_rated
    assert (found.limit is not None) != is_rated
    assert found.reliability == trust


def test_a_unit_is_set_against_all_other_units_together() -> None:
    found = row(gathered({"A": (6, 20_000), "B": (2, 30_000), "C": (3, 50_000)}), "A").against_rest
    assert found is not None
    assert found.value.value == pytest.approx((24 / 80_000) / ((8 + 12) / (120_000 + 200_000)))


def test_the_range_is_widened_for_the_number_of_units_looked_at() -> None:
    found = row(gathered({"A": (6, 20_000), "B": (2, 30_000), "C": (3, 50_000)}), "A").against_rest
    assert found is not None
    # Three units looked at: each range at 1 - 0.05 / 3 (Bonferroni).
    expected = ratios.rate_ratio(24, 80_000, 20, 320_000, confidence=1 - 0.05 / 3)
    assert found.lower.value == pytest.approx(expected.lower)
    assert found.upper.value == pytest.approx(expected.upper)


def test_a_unit_far_above_the_others_stands_out_and_equal_ones_do_not() -> None:
    found = gathered({"A": (12, 20_000), "B": (3, 20_000), "C": (3, 20_000), "D": (3, 20_000)})
    assert [(r.unit, r.stands_out) for r in found.standing_out()] == [("A", "higher")]
    assert gathered({"A": (3, 20_000), "B": (3, 20_000), "C": (3, 20_000)}).standing_out() == ()


def test_a_unit_with_too_few_cases_is_not_compared() -> None:
    found = gathered({"A": (1, 2_000), "B": (5, 200_000)})
    assert row(found, "A").against_rest is None
    assert found.units_compared.value == 1


def test_a_facility_of_one_unit_has_nothing_to_be_set_against() -> None:
    found = gathered({"A": (9, 20_000)})
    assert row(found, "A").against_rest is None
    assert found.standing_out() == ()


def test_a_unit_without_hours_has_no_rate_and_a_reason() -> None:
    base = made_up.frames()["units"]
    listed = base.iloc[:2].assign(unit=["A", "Z"], name=["Unit A", "Unit Z"])
    found = row(gathered({"A": (9, 20_000)}, units=listed), "Z").overall
    assert found.rate is None
    assert found.withheld == "no hours worked"


def test_a_unit_without_a_name_is_called_by_its_code() -> None:
    base = made_up.frames()["units"]
    listed = base.iloc[:1].assign(unit=["A"], name=[None])
    found = gathered({"A": (9, 20_000), "B": (9, 20_000)}, units=listed)
    assert [r.name for r in found.rows] == ["A", "B"]


def test_the_last_four_quarters_carry_the_same_number_as_the_rates_over_time() -> None:
    found = gathered({"A": (5, 20_000), "B": (2, 20_000)})
    assert found.facility_recent.rate is not None
    assert found.facility_recent.rate.key == "rate/facility/four-quarters-to-2024-Q4/handling"
