"""Training coverage as a share of worked hours, against a drawn table."""

from __future__ import annotations

import pytest

from handling_review.evidence import training
from handling_review.page.tables import unit_coverage_table
from spec import made_up_tables as made_up

HOURS = """
quarter  unit phase   lapsed handling hours
2024-Q1  A    before  no     1        6000
2024-Q1  A    washout no     0        1000
2024-Q1  A    after   no     0        2000
2024-Q1  B    never   no     1        700
2024-Q1  B    unknown no     0        300
2024-Q2  A    after   no     0        7000
2024-Q2  A    after   yes    1        1500
2024-Q2  B    never   no     0        1500
"""
NAMES = {"A": "Unit A", "B": "Unit B"}


def gathered(complete: tuple[str, ...] = ("2024-Q1", "2024-Q2"), **options: object) -> training.TrainingEvidence:
    return training.gather(made_up.drawn(HOURS, **options), complete, NAMES, made_up.program())  # type: ignore[arg-type]


def test_a_status_has_its_share_of_all_hours_worked() -> None:
    row = gathered().of("2024-Q1")
    assert row.total.value == 10_000
    expected = {"current": 0.2, "lapsed": 0.0, "washout": 0.1, "before": 0.6, "never": 0.07, "unknown": 0.03}
    for status, share in expected.items():
        assert row.share(status).value == pytest.approx(share), status


def test_lapsed_hours_are_a_category_of_their_own() -> None:
    row = gathered().of("2024-Q2")
    assert row.share("current").value == pytest.approx(7000 / 10_000)
    assert row.share("lapsed").value == pytest.approx(1500 / 10_000)


def test_shares_of_a_quarter_add_up_to_one() -> None:
    for row in gathered().quarters:
        assert sum(share.value or 0 for share in row.shares) == pytest.approx(1)


def test_an_incomplete_quarter_has_hours_but_no_shares() -> None:
    row = gathered(("2024-Q1",), gaps={"2024-Q2": "hours of B stop"}).of("2024-Q2")
    assert row.shares == ()
    assert row.reason == "hours of B stop"
    assert row.total.value == 10_000


def test_units_are_covered_in_the_latest_complete_quarter() -> None:
    found = gathered(("2024-Q1",), gaps={"2024-Q2": "hours of B stop"})
    assert found.latest == "2024-Q1"
    a, b = found.units
    assert (a.label, a.total.value) == ("Unit A", 9000)
    assert a.share("current").value == pytest.approx(2000 / 9000)
    assert b.share("unknown").value == pytest.approx(300 / 1000)


def test_a_low_match_share_is_told() -> None:
    base = made_up.frames()["training_summary"]
    assert gathered().match_is_enough
    assert not gathered(training_summary=base.assign(match_share=0.79)).match_is_enough


def test_no_complete_quarter_gives_no_latest_one() -> None:
    found = gathered((), gaps={"2024-Q1": "x", "2024-Q2": "x"})
    assert found.latest == ""
    assert found.units == ()


def test_coverage_by_unit_and_quarter_has_every_complete_quarter_and_ends_with_the_latest() -> None:
    review = made_up.review()
    found = review.training.unit_quarters
    assert [quarter for quarter, _ in found] == list(review.rates.complete())
    assert found[-1][1] == review.training.units
    for quarter, rows in found:
        for row in rows:
            assert row.shares == () or abs(sum(share.value or 0 for share in row.shares) - 1) < 1e-9, quarter
    table = unit_coverage_table(review)
    assert table is not None
    assert [column.title for column in table.columns[1:]] == list(review.rates.complete()[-8:])
    assert len(table.rows) == len(review.training.units)
