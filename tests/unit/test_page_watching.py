"""What the watching findings say, by shape of the result: tasks, funnel, groups, reference rates, page one."""

from __future__ import annotations

import dataclasses
import re
from datetime import date

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from handling_review.evidence import tasks, unit_funnel, units
from handling_review.evidence.assemble import assemble
from handling_review.evidence.chart_study import gather as study
from handling_review.evidence.control import FEWER, MORE
from handling_review.evidence.tables import ResultTables
from handling_review.page import funnel as funnel_page
from handling_review.page import tasks as page
from handling_review.page.front import front
from handling_review.page.labels import ACTIVITY
from handling_review.page.tables_data import reference_table
from handling_review.page.watching import unit_points_table, units_table
from handling_review.page.words import funnel as words_funnel
from handling_review.page.words import tasks as words_tasks
from handling_review.page.words import watch as words
from handling_review.page.words.data import candidate_sentence, pandemic_sentence
from handling_review.store.trade import SUITABLE_EQUIPMENT, TECHNIQUE_BANDS
from spec import made_up_tables as made_up

TASK = ["quarter", "activity", "equipment_in_use", "technique", "load", "suited_equipment", "recordable", "first_aid"]


def doing(rows: list[tuple[object, ...]], exposure: pd.DataFrame | None = None) -> tasks.TasksEvidence:
    tables = dataclasses.replace(made_up.tables(), tasks=pd.DataFrame(rows, columns=TASK))
    if exposure is not None:
        tables = dataclasses.replace(tables, exposure=exposure)
    return tasks.gather(tables, made_up.QUARTERS, made_up.program())


ROWS: list[tuple[object, ...]] = [
    ("2025-Q1", "toileting", "none", "not_a_technique", "over_limit", "on_unit_not_in_use", 4, 2),
    ("2025-Q2", "stand_pivot", "gait_belt", "outside_band", "within_limit", "on_unit_not_in_use", 2, 0),
    ("2025-Q2", "stand_pivot", "floor_lift", "in_band", "not_counted", "in_use", 1, 0),
    ("2025-Q3", "squat_pivot", "none", "no_band", "not_known", "not_on_unit", 1, 1),
    ("2025-Q3", "wheelchair_ramp_or_curb", "other", "not_a_technique", "not_counted", "no_suited_class", 1, 0),
    ("2025-Q3", "unknown", "not_given", "not_a_technique", "not_counted", "no_suited_class", 9, 0),
]


def test_activities_are_counted_and_the_most_frequent_are_named() -> None:
    found = doing(ROWS)
    assert [(row.activity, row.cases.value) for row in found.activities] == [
        ("toileting", 6), ("stand_pivot", 3), ("squat_pivot", 2), ("wheelchair_ramp_or_curb", 1), ("unknown", 9),
    ]  # fmt: skip
    text = words_tasks.activities_sentence(found).text
    assert "21 handling injuries, first aid included" in text
    assert text.endswith("The most came from toileting (6), stand pivot (3) and squat pivot (2).")
    assert words_tasks.ramps_sentence(found).text == "1 came from a wheelchair on a ramp or curb."
    assert found.activities[0].share.value == pytest.approx(4 / 18)


def test_technique_load_and_idle_equipment_are_told_with_what_is_known() -> None:
    found = doing(ROWS)
    assert words_tasks.technique_sentence(found).text == (
        "For 5 the log notes a technique and its share of the effort. Of these, 2 lay outside the usual band of the "
        "technique. In 2 of them staff gave 51 to 74% of the effort. No manual technique is usual for that: assess "
        "the person, "
        "equipment first. Of 8 in which hands bore a weight that was noted, 6 put more than 35 lb on each helper."
    )
    text = words_tasks.suited_sentence(found).text
    assert "It was in use in 1. It was on the unit but not in use in 8. It was not on the unit in 2." in text


def test_nothing_known_is_said_and_no_picture_is_drawn() -> None:
    found = doing([])
    assert found.reason
    assert words_tasks.activities_sentence(found).text.startswith("There is nothing to tell by activity")
    assert page.picture(found) is None
    assert words_tasks.technique_sentence(found).text == words_tasks.suited_sentence(found).text == ""


def test_only_cases_without_an_activity() -> None:
    assert words_tasks.activities_sentence(doing(ROWS[-1:])).text.endswith("for none the activity is given.")


def test_a_rate_per_transfers_uses_the_units_and_quarters_that_count_them() -> None:
    exposure = pd.DataFrame(
        [("2025-Q1", "1N", "after", "transfers", 5000.0), ("2025-Q2", "1N", "after", "transfers", 7000.0)],
        columns=["quarter", "unit", "go_live_phase", "measure", "quantity"],
    )
    found = doing(ROWS, exposure).per_transfers
    strata = made_up.tables().strata
    own = strata[(strata["unit"] == "1N") & strata["quarter"].isin(["2025-Q1", "2025-Q2"])]
    cases = int(own["handling"].sum())
    assert found is not None
    assert found.cases.value == cases
    assert found.rate.value.value == pytest.approx(cases / 12_000 * 10_000)
    low, high = (stats.chi2.ppf(p, df) / 2 for p, df in ((0.025, 2 * cases), (0.975, 2 * cases + 2)))
    assert found.rate.lower.value == pytest.approx(0 if cases == 0 else low / 12_000 * 10_000)
    assert found.rate.upper.value == pytest.approx(high / 12_000 * 10_000)
    assert doing(ROWS).per_transfers is None


def test_every_activity_and_band_has_words_and_the_bands_leave_51_to_74_open() -> None:
    known = set(SUITABLE_EQUIPMENT) | {name for name, *_ in TECHNIQUE_BANDS}
    assert known <= set(ACTIVITY)
    for _, low, high in TECHNIQUE_BANDS:
        assert high <= 50 or low >= 75


def test_idle_equipment_is_a_candidate_for_action_only_where_it_is_common() -> None:
    review = made_up.review()
    kinds = {candidate.kind for candidate in review.actions}
    whole, idle = review.tasks.with_suited.value or 0, review.tasks.of("suited", "on_unit_not_in_use").value or 0
    assert ("use_equipment" in kinds) == (idle >= 5 and idle >= 0.5 * whole)
    frames = made_up.frames()
    frames["tasks"] = frames["tasks"].assign(suited_equipment="on_unit_not_in_use")
    program = made_up.program()
    busy = assemble(ResultTables.from_dict(frames), made_up.scope(program), program)
    told = [candidate_sentence(c).text for c in busy.actions if c.kind == "use_equipment"]
    assert len(told) == 1
    assert "stood unused on the unit in" in told[0]


def test_the_funnel_is_the_poisson_quantiles_around_the_facility_and_tells_who_is_beyond() -> None:
    tables = made_up.drawn(
        """
        quarter unit phase handling hours
        2025-Q1 A    never 10       200000
        2025-Q1 B    never 40       200000
        2025-Q1 C    never 8        200000
        2025-Q1 D    never 2        200000
        """
    )
    found = unit_funnel.gather(units.gather(tables, ("2025-Q1",), made_up.program()))
    assert found.target is not None
    assert found.target.value == 15
    where = {unit.unit: (unit.where, unit.is_high) for unit in found.units}
    assert where == {"A": ("inside", False), "B": ("beyond 99.8%", True), "C": ("inside", False)}
    assert found.left_out == ("Unit D",)
    b = next(unit for unit in found.units if unit.unit == "B")
    # interpolated quantiles lie within one count of the plain ones of scipy
    for limit, p in ((b.lower_95, 0.025), (b.upper_95, 0.975), (b.lower_998, 0.001), (b.upper_998, 0.999)):
        assert limit.value == pytest.approx(stats.poisson.ppf(p, 15), abs=1)
    assert words_funnel.funnel_sentence(found).text.startswith("In the funnel Unit B lies beyond the outer limits")
    drawn = funnel_page.picture(found)
    assert drawn is not None
    table = funnel_page.table(found)
    assert table is not None
    assert table.rows[1][-1] == "Beyond 99.8%, above"
    assert "Unit D" in table.notes[-1]


def test_no_funnel_without_a_case_or_of_one_unit() -> None:
    one = made_up.drawn("quarter unit phase handling hours\n2025-Q1 A never 9 200000")
    found = unit_funnel.gather(units.gather(one, ("2025-Q1",), made_up.program()))
    assert found.reason
    assert funnel_page.picture(found) is None
    assert funnel_page.table(found) is None


def test_limits_of_the_funnel_close_in_with_hours() -> None:
    found = made_up.review().funnel
    width = np.array([point[2] - point[1] for point in found.curve])
    assert (np.diff(width) <= 1e-9).all()
    assert all(point[3] <= point[1] <= point[2] <= point[4] for point in found.curve)


def test_units_stand_in_alphabetical_order_and_never_by_rate() -> None:
    table = units_table(made_up.review())
    assert table is not None
    names = [str(row[0]) for row in table.rows]
    assert names == sorted(names, key=str.casefold)


def test_a_long_history_of_many_units_stands_whole_in_the_table_because_paper_draws_one_chart_only() -> None:
    review = made_up.review()
    table = unit_points_table(review)
    assert table is not None
    chart = next(chart for chart in review.watch.units if chart.points)
    many = dataclasses.replace(review, watch=dataclasses.replace(review.watch, units=(chart,) * 60))
    whole = unit_points_table(many)
    assert whole is not None
    assert len(whole.rows) == 60 * len(chart.points)


def test_published_rates_stand_beside_the_own_range_and_a_blank_says_how_to_fill_it() -> None:
    table = reference_table(made_up.review())
    assert table is not None
    kinds = {str(row[0]): row for row in table.rows}
    assert " to " in str(kinds["All recordable injuries"][2])
    assert str(kinds["DART injuries"][3]) == ""
    assert "reference_rates.csv" in str(kinds["DART injuries"][-1])
    assert "every cause and every job" in table.notes[0]


def test_a_review_of_2020_to_2022_carries_its_caution() -> None:
    review = made_up.review()
    assert pandemic_sentence(review).text == ""
    early = dataclasses.replace(
        review.rates.quarters[0], quarter="2022-Q4", start=date(2022, 10, 1), end=date(2022, 12, 31)
    )
    touched = dataclasses.replace(
        review, rates=dataclasses.replace(review.rates, quarters=(early, *review.rates.quarters[1:]))
    )
    assert pandemic_sentence(touched).text.startswith("2022-Q4: illness and staffing were out of the ordinary")
    assert any("out of the ordinary" in sentence.text for sentence in front(touched).open)


def test_the_study_of_charts_is_told_with_its_figures() -> None:
    found = study(made_up.review().watch.units)
    assert [row.expected.value for row in found.rows] == [2, 4, 8]
    shares = [row.doubling_within_4.value or 0 for row in found.rows]
    assert shares == sorted(shares), "larger units are seen sooner"
    assert re.search(r"With 2 cases expected a quarter, .* within a year in \d+%", words.study_sentence(found).text)


def test_stretches_of_quarters_are_named_by_their_ends() -> None:
    from handling_review.evidence.quarters import stretches

    assert stretches(("2024-Q3", "2024-Q4", "2025-Q1", "2025-Q3")) == ("2024-Q3 to 2025-Q1", "2025-Q3")
    assert stretches(("FY2026-Q4", "FY2027-Q1")) == ("FY2026-Q4 to FY2027-Q1",)
    assert stretches(()) == ()


def test_page_one_leaves_out_signals_of_single_units_charts() -> None:
    """With many units some chart always speaks for nothing; the early warnings allow for their number."""
    watch = made_up.review().watch
    assert watch.units_now(MORE) or watch.units_now(FEWER)
    text = " ".join(sentence.text for sentence in words.stands_out_sentences(watch, units_differ=False))
    for name in {*watch.units_now(MORE), *watch.units_now(FEWER)} - set(watch.units_warned()):
        assert name not in text


def test_how_many_charts_of_units_chance_alone_would_light() -> None:
    review = made_up.review()
    drawn = [chart for chart in review.watch.units if not chart.reason]
    assert review.chart_study.charts.value == len(drawn)
    assert 0 < (review.chart_study.by_chance.value or 0) < len(drawn) / 2
    text = words.units_sentence(review.watch, review.chart_study).text
    assert f"of the {len(drawn)} charts of units would show a signal" in text
    assert study(()).by_chance.value == 0
