"""Days away and restricted, outcomes, cases to follow up, and late reports by quarter."""

from __future__ import annotations

import dataclasses
from datetime import date

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.proportion import proportion_confint

from handling_review.evidence import late, rates, severity
from handling_review.page import severity as page
from handling_review.page.words import late as words_late
from handling_review.page.words import severity as words_severity
from spec import made_up_tables as made_up

HEAD = "quarter phase handling hours"
EIGHT = "\n".join([HEAD, *(f"{year}-Q{q} before 3 100000" for year in (2024, 2025) for q in (1, 2, 3, 4))])
DAYS = ["quarter", "outcome", "is_handling", "days", "is_blank", "is_counting", "cases"]
LAGS = ["quarter", "lag_days", "recordable", "handling", "dart", "days_away", "first_aid"]


def lost(rows: list[tuple[object, ...]], table: str = EIGHT) -> severity.SeverityEvidence:
    tables = made_up.drawn(table, case_days=pd.DataFrame(rows, columns=DAYS))
    program = made_up.program()
    return severity.gather(tables, rates.gather(tables, program), program)


ROWS: list[tuple[object, ...]] = [
    ("2024-Q1", "days_away", True, 180, False, False, 1),
    ("2024-Q3", "days_away", True, 10, False, False, 2),
    ("2025-Q1", "days_away", False, 20, False, False, 1),
    ("2025-Q2", "restricted_or_transfer", True, 6, False, True, 2),
    ("2025-Q3", "other_recordable", True, 0, False, False, 4),
    ("2025-Q4", "days_away", True, 160, True, False, 1),
]


def test_days_are_added_and_divided_by_all_hours_of_the_window() -> None:
    found = lost(ROWS)
    recent = found.of("last four quarters", "recordable")
    assert recent is not None
    assert recent.days_rate is not None
    assert recent.days_rate.value.value == pytest.approx((20 + 6 + 6 + 160) / 400_000 * 200_000)
    assert recent.longest.value == 160
    assert recent.without_longest is not None
    assert recent.without_longest.value.value == pytest.approx((20 + 6 + 6) / 400_000 * 200_000)
    handling = found.of("last four quarters", "handling")
    assert handling is not None
    assert handling.days.value == 6 + 6 + 160
    before = found.of("the four before", "recordable")
    assert before is not None
    assert before.days.value == 180 + 10 + 10
    whole = found.of("all complete quarters", "recordable")
    assert whole is not None
    assert whole.days.value == 200 + 192


def test_the_range_is_the_bootstrap_of_a_compound_poisson_sum() -> None:
    """Against numpy's own: 40,000 draws of a Poisson number of cases from those seen."""
    found = lost(ROWS).of("all complete quarters", "recordable")
    assert found is not None
    assert found.days_rate is not None
    dice = np.random.default_rng(3)
    seen = np.array([180, 10, 10, 20, 6, 6, 160])
    sums = [dice.choice(seen, dice.poisson(seen.size)).sum() for _ in range(40_000)]
    low, high = np.quantile(sums, [0.025, 0.975]) / 800_000 * 200_000
    assert found.days_rate.lower.value == pytest.approx(low, abs=2.5)
    assert found.days_rate.upper.value == pytest.approx(high, rel=0.03)


def test_shares_of_outcomes_have_wilsons_interval() -> None:
    found = {(o.window, o.outcome): o for o in lost(ROWS).outcomes}
    other = found[("last four quarters", "other_recordable")]
    low, high = proportion_confint(4, 8, method="wilson")
    assert other.share is not None
    assert other.share.lower.value == pytest.approx(low)
    assert other.share.upper.value == pytest.approx(high)


def test_cases_whose_days_may_change_are_counted() -> None:
    found = lost(ROWS)
    assert (found.still_counting.value, found.no_days.value, found.near_cap.value, found.at_cap.value) == (2, 1, 1, 1)
    text = words_severity.counting_sentence(found).text
    assert text == (
        "Cases to follow up: days still counting: 2; no days given: 1; within a month of the 180 days at which "
        "counting may stop: 1; 180 days reached: 1."
    )


def test_without_a_day_lost_no_rate_is_made_up() -> None:
    found = lost([("2025-Q1", "other_recordable", True, 0, False, False, 3)])
    row = found.of("last four quarters", "recordable")
    assert row is not None
    assert row.days_rate is None
    text = words_severity.days_sentence(found).text
    assert text == "Last four quarters: no recordable injury cost a day away or restricted."
    assert page.picture(found) is None
    assert words_severity.counting_sentence(found).text.startswith("No case still counts days")


def test_one_case_has_no_figure_without_itself() -> None:
    found = lost([("2025-Q1", "days_away", True, 30, False, False, 1)]).of("last four quarters", "recordable")
    assert found is not None
    assert found.days_rate is not None
    assert found.without_longest is None


def test_no_complete_quarter_is_said() -> None:
    gaps = {f"{year}-Q{q}": "hours missing" for year in (2024, 2025) for q in (1, 2, 3, 4)}
    tables = made_up.drawn(EIGHT, gaps=gaps, case_days=pd.DataFrame(ROWS, columns=DAYS))
    program = made_up.program()
    found = severity.gather(tables, rates.gather(tables, program), program)
    assert found.rows == ()
    assert words_severity.days_sentence(found).text.startswith("No quarter is complete yet")


def lags(rows: list[tuple[object, ...]], curve: list[tuple[int, int, int]], as_of: date) -> late.LateEvidence:
    tables = made_up.drawn(
        EIGHT,
        lags=pd.DataFrame(rows, columns=LAGS).astype({"lag_days": "Int64"}),
        lag_curve=pd.DataFrame(curve, columns=["lag_days", "cases", "reported_by_then"]),
    )
    program = made_up.program()
    return late.gather(tables, rates.gather(tables, program), made_up.scope(program, as_of=as_of), program)


def test_lags_by_quarter_and_for_all() -> None:
    found = lags(
        [
            ("2025-Q1", 0, 3, 1, 0, 0, 2),
            ("2025-Q1", 4, 2, 1, 0, 0, 0),
            ("2025-Q1", 30, 1, 1, 0, 0, 0),
            ("2025-Q2", None, 2, 1, 0, 0, 0),
        ],
        [(0, 20, 20), (4, 5, 25)],
        date(2026, 6, 30),
    )
    row = next(row for row in found.rows if row.name == "2025-Q1")
    # eight cases: 0 0 0 0 0 4 4 30; the fourth is the median, the eighth the first with nine in ten
    assert row.cases.value == 8
    assert row.median is not None
    assert row.ninetieth is not None
    assert row.slow is not None
    assert (row.median.value, row.ninetieth.value, row.slow.value) == (0, 30, 1 / 8)
    assert next(r for r in found.rows if r.name == "2025-Q2").no_day.value == 2
    assert found.whole.cases.value == 8


def test_late_cases_are_expected_of_the_latest_quarters_and_shown_beside_the_reported_rate() -> None:
    # half of the cases take 60 days; the export is made 10 days after the last quarter
    found = lags([("2025-Q4", 0, 3, 3, 0, 0, 0)], [(0, 30, 30), (60, 30, 60)], date(2026, 1, 10))
    latest = found.nowcasts[-1]
    old = sum(1 for day in range(92) if 10 + day >= 60)
    share = (old + (92 - old) * 0.5) / 92
    assert latest.quarter == "2025-Q4"
    assert latest.in_the_log.value == pytest.approx(share, abs=0.01)
    assert latest.late.value.value == pytest.approx(3 * (1 - share) / share, abs=0.05)
    assert latest.reported_rate.value == 3 / 100_000 * 200_000
    assert (latest.rate.value.value or 0) > (latest.reported_rate.value or 0)
    assert "more may still be reported" in words_late.nowcast_sentence(found).text


def test_with_a_short_lag_nothing_late_is_expected_and_that_is_one_sentence() -> None:
    found = lags([("2025-Q4", 0, 3, 3, 0, 0, 0)], [(0, 30, 30), (2, 10, 40)], date(2026, 1, 10))
    assert words_late.nowcast_sentence(found).text == (
        "From the delays seen here, no more handling injuries of 2025-Q3 and 2025-Q4 are expected."
    )


def test_without_enough_days_of_report_nothing_is_estimated() -> None:
    found = lags([("2025-Q4", 1, 3, 3, 0, 0, 0)], [(1, 3, 3)], date(2026, 1, 10))
    assert found.nowcasts == ()
    assert "fewer than 20" in words_late.nowcast_sentence(found).text
    none = lags([("2025-Q4", None, 3, 3, 0, 0, 0)], [], date(2026, 1, 10))
    assert words_late.lag_sentence(none).text.startswith("The log gives no day of report")


def test_the_made_up_review_prints_both() -> None:
    review = made_up.review()
    assert dataclasses.is_dataclass(review.severity)
    assert review.severity.of("last four quarters", "recordable") is not None
    assert review.late.whole.median is not None
