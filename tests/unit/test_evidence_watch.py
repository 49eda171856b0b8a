"""The control chart of the quarters: what it rests on, what makes it speak, and how often it speaks for nothing."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from scipy import stats

from handling_review.evidence import rates, watch
from handling_review.evidence.strata_table import Strata
from handling_review.page import watching
from spec import made_up_tables as made_up


def watched(counts: list[int], start: date | None = date(2024, 1, 1), hours: int = 200_000) -> watch.Watch:
    """One unit, quarters from 2022-Q1 on, so many cases in each."""
    lines = ["quarter unit phase go_live_phase handling hours"]
    for i, events in enumerate(counts):
        quarter = f"{2022 + i // 4}-Q{i % 4 + 1}"
        side = "none" if start is None else "before" if quarter < "2024-Q1" else "after"
        lines.append(f"{quarter} A before {side} {events} {hours}")
    units = pd.DataFrame(
        [("A", "A", "", start, False)], columns=["unit", "name", "care_type", "program_start", "comparison"]
    )
    tables, program = made_up.drawn("\n".join(lines), units=units), made_up.program()
    found = rates.gather(tables, program)
    return watch.gather(found.quarters, Strata(tables, found.complete()), program)


def test_the_centre_is_frozen_before_the_first_start() -> None:
    found = watched([8, 10, 9, 11, 10, 9, 10, 13, 2, 2, 3, 1])
    assert found.before_start
    assert found.baseline == ("2022-Q1", "2022-Q2", "2022-Q3", "2022-Q4", "2023-Q1", "2023-Q2", "2023-Q3", "2023-Q4")
    assert found.centre is not None
    assert found.centre.value == pytest.approx(80 / 8), "later quarters do not move it"


def test_without_enough_quarters_before_the_start_all_of_them_make_the_centre() -> None:
    found = watched([8, 10, 9, 11, 10, 9], start=None)
    assert not found.before_start
    assert len(found.baseline) == 6


def test_limits_are_the_poisson_quantiles_of_the_three_sigma_tails() -> None:
    found = watched([10] * 8)
    tail = stats.norm.sf(3)
    point = found.points[0]
    assert point.lower.value == stats.poisson.ppf(tail, 10)
    assert point.upper.value == stats.poisson.ppf(1 - tail, 10)


def test_a_point_outside_a_run_and_a_series_are_told_apart() -> None:
    outside = watched([10] * 8 + [25, 10, 9, 11])
    assert outside.with_signal(watch.OUTSIDE) == ("2024-Q1",)
    assert "2024-Q1 outside the limits" in watching.signal_sentence(outside).text
    run = watched([10, 12, 8, 11, 9, 10, 12, 8, 6, 7, 6, 7, 6, 7, 6, 7])
    assert len(run.with_signal(watch.RUN)) >= 8
    series = watched([10, 9, 11, 10, 9, 11, 10, 9, 6, 8, 10, 12, 14, 16])
    assert series.with_signal(watch.TREND)


def test_a_doubled_rate_is_warned_of_and_a_steady_one_is_not() -> None:
    steady = watched([10, 9, 11, 10, 10, 9, 11, 10, 10, 9])
    assert not any(point.warns for point in steady.points)
    assert "is silent" in watching.warning_sentence(steady).text
    doubled = watched([10, 9, 11, 10, 10, 9, 11, 10, 20, 22])
    assert doubled.points[-1].warns
    assert "2024-Q2" in watching.warning_sentence(doubled).text
    assert doubled.last_speaks


def test_how_often_it_speaks_for_nothing_is_the_same_on_every_run_and_not_small() -> None:
    first, second = watched([10] * 14), watched([10] * 14)
    assert first.speaks_for_nothing == second.speaks_for_nothing
    assert first.speaks_for_nothing is not None
    assert 0.02 < float(first.speaks_for_nothing.value or 0) < 0.6


@pytest.mark.parametrize(("counts", "reason"), [([3, 4], "complete quarters"), ([0, 0, 1, 0, 0, 1], "cases in the")])
def test_too_little_for_a_chart_is_said(counts: list[int], reason: str) -> None:
    found = watched(counts)
    assert reason in found.reason
    assert watching.signal_sentence(found).text.startswith("No chart is drawn")
    assert watching.picture(found) is None
