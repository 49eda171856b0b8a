"""Control charts, days between cases, early warnings: what they rest on, and what makes them speak."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from handling_review.evidence import rates, watch
from handling_review.evidence.control import FEWER, MORE, OUTSIDE, RUN, TREND, Quarter, Signal, chart
from handling_review.evidence.early_warning import reference_quarters, warning
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.units import unit_names
from handling_review.page.figures_watch import charts_picture
from handling_review.page.words import watch as words
from handling_review.program import Charts, Program
from spec import made_up_tables as made_up

LABELS = tuple(f"{year}-Q{q}" for year in range(2021, 2027) for q in (1, 2, 3, 4))
NO_WAITS = pd.DataFrame(columns=["unit", "series", "position", "quarter", "days", "days_since"])


def watched(
    counts: list[int], start: date | None = date(2024, 1, 1), hours: int = 200_000, charts: Charts | None = None
) -> watch.Watch:
    """One unit, quarters from 2022-Q1 on, so many cases in each."""
    lines = ["quarter unit phase go_live_phase handling hours"]
    for i, events in enumerate(counts):
        quarter = f"{2022 + i // 4}-Q{i % 4 + 1}"
        side = "none" if start is None else "before" if quarter < "2024-Q1" else "after"
        lines.append(f"{quarter} A before {side} {events} {hours}")
    units = pd.DataFrame(
        [("A", "A", "", start, False)], columns=["unit", "name", "care_type", "program_start", "comparison"]
    )
    tables = made_up.drawn("\n".join(lines), units=units)
    program = made_up.program() if charts is None else Program(path=Path("p.toml"), charts=charts)
    found = rates.gather(tables, program)
    return watch.gather(tables, found, Strata(tables, found.complete()), unit_names(tables), program)


def quarters(counts: list[int], hours: float = 200_000, baseline: int = 8) -> list[Quarter]:
    return [Quarter(LABELS[i], n, hours, False, i < baseline) for i, n in enumerate(counts)]


def waits(days: list[int], since: int = 5) -> pd.DataFrame:
    rows = [
        ("", "handling", i + 1, LABELS[i // 2], None if i == 0 else days[i - 1], since) for i in range(len(days) + 1)
    ]
    return pd.DataFrame(rows, columns=NO_WAITS.columns)


def test_the_centre_is_frozen_before_the_first_start() -> None:
    found = watched([8, 10, 9, 11, 10, 9, 10, 13, 2, 2, 3, 1]).facility
    assert found.baseline_rule == "before_start"
    assert found.baseline == ("2022-Q1", "2022-Q2", "2022-Q3", "2022-Q4", "2023-Q1", "2023-Q2", "2023-Q3", "2023-Q4")
    assert found.centre is not None
    assert found.centre.value == pytest.approx(80 / 8), "later quarters do not move it"
    assert "frozen there" in words.baseline_sentence(found).text


def test_without_a_start_the_latest_year_does_not_make_the_centre() -> None:
    found = watched([10, 10, 10, 10, 10, 10, 10, 10, 30, 30], start=None).facility
    assert found.baseline_rule == "all_but_latest"
    assert found.baseline == ("2022-Q1", "2022-Q2", "2022-Q3", "2022-Q4", "2023-Q1", "2023-Q2")
    short = watched([8, 10, 9, 11, 10, 9], start=None).facility
    assert short.baseline_rule == "all"
    assert len(short.baseline) == 6


def test_the_centre_moves_only_to_days_that_are_stated() -> None:
    stated = Charts(date(2023, 1, 1), date(2023, 12, 31))
    found = watched([8, 8, 8, 8, 20, 20, 20, 20, 20, 20, 20], charts=stated).facility
    assert found.baseline_rule == "stated"
    assert found.baseline == ("2023-Q1", "2023-Q2", "2023-Q3", "2023-Q4")
    assert found.centre is not None
    assert found.centre.value == 20


def test_limits_are_the_poisson_quantiles_of_the_three_sigma_tails() -> None:
    found = watched([10] * 8).facility
    tail = stats.norm.sf(3)
    point = found.points[0]
    assert point.lower.value == stats.poisson.ppf(tail, 10)
    assert point.upper.value == stats.poisson.ppf(1 - tail, 10)


def test_a_point_outside_a_run_and_a_series_are_told_apart_with_their_direction() -> None:
    outside = watched([10] * 8 + [25, 10, 9, 11]).facility
    assert outside.with_signal(OUTSIDE, MORE) == ("2024-Q1",)
    assert outside.with_signal(OUTSIDE, FEWER) == ()
    assert (
        "2024-Q1 outside the limits of chance, towards more injuries" in words.signal_sentence(outside, "handling").text
    )
    run = watched([10, 12, 8, 11, 9, 10, 12, 8, 6, 7, 6, 7, 6, 7, 6, 7]).facility
    assert len(run.with_signal(RUN, FEWER)) >= 8
    assert Signal(RUN, FEWER) in run.now()
    series = watched([10, 9, 11, 10, 9, 11, 10, 9, 6, 8, 10, 12, 14, 16]).facility
    assert series.with_signal(TREND, MORE)
    falling = watched([10, 9, 11, 10, 9, 11, 10, 16, 14, 12, 10, 8, 6]).facility
    assert falling.with_signal(TREND, FEWER)
    assert not falling.with_signal(TREND, MORE)


def test_a_signal_of_years_ago_is_shown_but_does_not_stand_out_now() -> None:
    found = watched([10, 10, 10, 10, 10, 10, 10, 10, 26, 10, 9, 11, 10, 9])
    assert found.facility.has_signal()
    assert found.facility.now() == ()
    assert not found.stands_out()
    text = " ".join(s.text for s in words.stands_out_sentences(found, units_differ=False))
    assert text.startswith("Nothing stands out")


@pytest.mark.parametrize(("counts", "reason"), [([3, 4], "complete quarters"), ([0, 0, 1, 0, 0, 1], "waits from one")])
def test_too_little_for_a_chart_is_said(counts: list[int], reason: str) -> None:
    found = watched(counts).facility
    assert reason in found.reason
    assert words.signal_sentence(found, "handling").text.startswith("No chart of the whole facility is drawn")
    assert words.kind_words(found).startswith("none, too few")


def test_rare_cases_are_charted_by_the_days_between_them() -> None:
    found = chart(
        "facility",
        "F",
        "handling",
        quarters([1, 1, 1, 0, 1, 1, 1, 1, 1, 1]),
        "before_start",
        waits([60, 90, 30, 75, 50, 80, 40, 66]),
    )
    assert found.kind == "days_between"
    assert [wait.days.value for wait in found.waits] == [60, 90, 30, 75, 50, 80, 40, 66, 0]  # 5 days: no whole week
    assert found.waits[-1].is_open
    assert not found.has_signal()
    # Nelson's limits by hand: days to the power 1/3.6, mean and 2.66 times the mean moving range, and back again
    y = np.array([60, 90, 30, 75, 50, 80, 40, 66.0]) ** (1 / 3.6)
    reach = 2.66 * np.abs(np.diff(y)).mean()
    assert found.centre is not None
    assert found.upper is not None
    assert found.centre.value == pytest.approx(y.mean() ** 3.6)
    assert found.upper.value == pytest.approx((y.mean() + reach) ** 3.6)


def test_a_wait_beyond_the_limit_tells_of_fewer_injuries_also_while_it_lasts() -> None:
    days = [30, 20, 35, 25, 30, 28, 22]
    ended = chart("facility", "F", "handling", quarters([1] * 8), "before_start", waits([*days, 900]))
    assert any(Signal(OUTSIDE, FEWER) in wait.signals for wait in ended.waits)
    lasting = chart("facility", "F", "handling", quarters([1] * 8), "before_start", waits(days, since=900))
    assert lasting.waits[-1].signals == (Signal(OUTSIDE, FEWER),)
    assert Signal(OUTSIDE, FEWER) in lasting.now()


def test_no_day_of_a_case_is_in_a_chart_of_waits() -> None:
    found = chart("facility", "F", "handling", quarters([1] * 8), "before_start", waits([30, 20, 35, 25, 30, 28, 22]))
    assert set(vars(found.waits[0])) == {"position", "quarter", "days", "in_baseline", "is_open", "signals"}


@pytest.mark.parametrize(("since", "shown"), [(6, 0), (7, 7), (13, 7), (900, 896)])
def test_the_wait_since_the_last_case_is_told_in_whole_weeks(since: int, shown: int) -> None:
    """To the day it would give the day of the last case, and the waits before it every other one."""
    days = [30, 20, 35, 25, 30, 28, 22]
    found = chart("facility", "F", "handling", quarters([1] * 8), "before_start", waits(days, since=since))
    assert found.waits[-1].days.value == shown


def months(counts: list[int], hours: float = 20_000) -> list[tuple[str, str, int, float]]:
    return [(f"{2021 + i // 12}-{i % 12 + 1:02d}", LABELS[i // 3], n, hours) for i, n in enumerate(counts)]


def test_the_usual_rate_is_of_at_most_eight_quarters_before_the_latest_and_after_the_start_if_four_are() -> None:
    assert reference_quarters(LABELS[:14], 2, None) == LABELS[4:12]
    assert reference_quarters(LABELS[:14], 2, LABELS[6]) == LABELS[7:12]
    assert reference_quarters(LABELS[:14], 2, LABELS[9]) == LABELS[4:12], "two quarters since the start are too few"


def test_the_running_sum_is_that_of_the_textbook() -> None:
    counts = [1, 0, 1, 1, 0, 1, 1, 0, 1, 1, 1, 0, 3, 3, 4]
    found = warning("facility", "F", "handling", months(counts), LABELS[:4], LABELS[3:5], 8.0, 120)
    # Lucas 1985: k = (m1 - m0) / ln(m1 / m0) with m0 = 0.8 cases a month and m1 = 1.6
    k, total, sums = 0.8 / np.log(2), 0.0, []
    for n in counts:
        total = max(0.0, total + n - k)
        sums.append(total)
    assert [month.running_sum.value for month in found.months] == pytest.approx(sums, abs=0.02)
    assert found.threshold is not None
    assert [m.warns for m in found.months] == [s >= (found.threshold.value or 0) for s in sums]
    assert found.now == tuple(m.month for m in found.months if m.warns)


def test_a_doubled_rate_is_warned_of_and_a_steady_one_is_not() -> None:
    steady = watched([10, 9, 11, 10, 10, 9, 11, 10, 10, 9])
    assert steady.warning.now == ()
    assert "is silent" in words.warning_sentence(steady.warning).text
    doubled = watched([10, 9, 11, 10, 10, 9, 11, 10, 20, 22])
    assert doubled.warning.now
    assert "speaks in 2024-" in words.warning_sentence(doubled.warning).text
    assert doubled.units_warned() == ("A",)
    assert doubled.stands_out()


def test_a_unit_without_a_case_has_its_usual_rate_from_all_units() -> None:
    lines = ["quarter unit phase handling hours"]
    for i in range(10):
        quarter = f"{2022 + i // 4}-Q{i % 4 + 1}"
        lines += [f"{quarter} A never 6 100000", f"{quarter} B never 0 20000"]
    tables, program = made_up.drawn("\n".join(lines)), made_up.program()
    found = rates.gather(tables, program)
    both = watch.gather(tables, found, Strata(tables, found.complete()), unit_names(tables), program)
    quiet = next(unit for unit in both.unit_warnings if unit.place == "unit:B")
    assert quiet.usual is not None
    assert 0 < (quiet.usual.value or 0) < 12


def test_all_units_together_speak_for_nothing_no_more_often_than_once_in_ten_years() -> None:
    found = made_up.review().watch
    waits_for = [unit.quiet_months.value or 0 for unit in found.unit_warnings if unit.quiet_months is not None]
    assert sum(1 / months for months in waits_for) <= 1 / 120


def test_how_often_it_speaks_for_nothing_is_the_same_on_every_run_and_not_small() -> None:
    first, second = watched([10] * 14), watched([10] * 14)
    assert first.false_signals == second.false_signals
    assert first.false_signals is not None
    assert 0.01 < float(first.false_signals.share.value or 0) < 0.6
    assert "signals about once in" in words.false_sentence(first).text


def test_each_unit_has_its_picture_to_pick_and_the_facility_stands_first() -> None:
    picture = charts_picture(made_up.review())
    assert picture is not None
    assert picture.name == "Whole facility"
    drawn = [unit.name for unit in made_up.review().watch.units if not unit.reason]
    assert [choice.name for choice in picture.choices] == drawn
    assert len({picture.id, *(choice.id for choice in picture.choices)}) == 1 + len(drawn)
    assert {picture.height} == {choice.height for choice in picture.choices}


def test_two_cases_on_one_day_are_too_soon_only_where_a_day_more_would_be() -> None:
    days = [30, 42, 35, 38, 33, 40, 36, 0]
    y = np.array(days[:7]) ** (1 / 3.6)
    lower = (y.mean() - 2.66 * np.abs(np.diff(y)).mean()) ** 3.6
    for last, is_too_soon in ((0, True), (int(lower) - 2, True), (int(lower), False)):
        found = chart(
            "facility", "F", "handling", quarters([1] * 8, baseline=4), "before_start", waits([*days[:7], last])
        )
        assert [wait.in_baseline for wait in found.waits] == [True] * 7 + [False] * 2
        assert found.lower is not None
        assert found.lower.value == pytest.approx(lower - 1)
        assert (Signal(OUTSIDE, MORE) in found.waits[-2].signals) is is_too_soon, last


def test_a_point_that_only_rounding_keeps_off_the_centre_lies_on_it() -> None:
    steady = watched([3] * 16, hours=107_277).facility
    assert not steady.has_signal(), "sixteen equal quarters are no run on either side"


def test_what_cannot_be_made_is_not_called_silent() -> None:
    def said(counts: list[int], *, compared: bool = True, units: int = 2) -> str:
        found = watched(counts)
        found = replace(found, units=found.units * units)
        sentences = words.stands_out_sentences(found, units_differ=False, units_compared=compared)
        return " ".join(sentence.text for sentence in sentences)

    assert said([3, 4]) == (
        "Too early to say what stands out: no chart and no early warning can be made (fewer than 4 complete quarters)."
    )
    assert said([0, 0, 0, 1, 0, 0, 1, 0]).startswith(
        "Nothing stands out. In the latest two quarters the early warnings are silent"
    )
    assert said([10] * 10).startswith(
        "Nothing stands out. In the latest two quarters the facility's chart and the early warnings are silent"
    )
    assert said([10] * 10, compared=False).endswith("No unit has enough cases to be set against the others.")
    assert said([10] * 10, compared=False, units=1).endswith("the early warnings are silent."), "there is no other"
