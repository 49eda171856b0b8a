"""Every function of page/words speaks in the made-up reviews, and each shape of a result has its own words."""

from __future__ import annotations

import dataclasses
import sys
from functools import cache
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from handling_review.evidence.assemble import Review, assemble
from handling_review.evidence.contrast import CANNOT_TELL, COUNTS_ONLY, FEW_CASES, HIGHER, LOWER, NO_DATA
from handling_review.page import words as package
from handling_review.page.build import render
from handling_review.page.words import answer, change, data, due, funnel, over_time, rates, watch
from spec import made_up_tables as made_up

WORDS = Path(package.__file__).parent
SHAPES: dict[str, dict[str, Any]] = {
    "lower": {},
    "harmful": {"ratio": 2.5},
    "cannot tell": {"ratio": 0.9},
    "few cases": {"ratio": 0.05, "seed": 3},
    "incomplete": {"missing": {"2025-Q3": "hours of 3E stop on 2025-08-16"}},
    "no data": {"missing": dict.fromkeys(made_up.QUARTERS, "hours missing")},
}


@cache
def review(shape: str) -> Review:
    return made_up.review(**SHAPES[shape])


def public_functions() -> set[tuple[str, str]]:
    import ast

    return {
        (path.stem, node.name)
        for path in WORDS.glob("*.py")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    }


def called_in(text_of: Any) -> set[tuple[str, str]]:
    """Functions of page/words that run while ``text_of`` does."""
    found: set[tuple[str, str]] = set()

    def watcher(frame: FrameType, _event: str, _: Any) -> None:
        """Called where a function begins; giving None leaves its lines alone."""
        if frame.f_code.co_filename.startswith(folder):
            found.add((Path(frame.f_code.co_filename).stem, frame.f_code.co_name))

    folder = str(WORDS)
    sys.settrace(watcher)
    try:
        text_of()
    finally:
        sys.settrace(None)
    return found


def test_every_function_of_the_words_speaks_on_some_page() -> None:
    called: set[tuple[str, str]] = set()
    for shape in ("lower", "harmful", "no data"):
        found = review(shape)
        called |= called_in(lambda found=found: render(found))
    # Spoken only where a facility gives what the made-up one does not; each has tests of its own.
    elsewhere = {("data", "figure_name"), ("funnel", "left_out_note"), ("who", "not_shown_sentence")}
    # Other pages and other builds.
    others = {one for one in public_functions() if one[0] in ("restated", "wide", "system")}
    assert public_functions() - called - elsewhere - others == set()


def primary(verdict: str) -> Any:
    """The primary comparison with another verdict, and without a ratio where that verdict has none."""
    item = review("lower").before_after.primary
    if verdict in (NO_DATA, COUNTS_ONLY):
        return dataclasses.replace(item, verdict=verdict, ratio=None)
    return dataclasses.replace(item, verdict=verdict)


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        (LOWER, "lower after training"),
        (HIGHER, "higher after training"),
        (CANNOT_TELL, "cannot tell whether the rate changed"),
        (FEW_CASES, "too few cases to tell"),
        (NO_DATA, "nothing to compare yet"),
        (COUNTS_ONLY, "counts only"),
    ],
)
def test_the_title_of_a_comparison(verdict: str, said: str) -> None:
    assert said in change.change_title(primary(verdict)).text


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        (LOWER, ", lower than in the four before"),
        (HIGHER, ", higher than in the four before"),
        (CANNOT_TELL, "; no clear change"),
        (FEW_CASES, "; too few cases to see a change"),
        (NO_DATA, "in the last four quarters"),
    ],
)
def test_the_title_of_the_rates(verdict: str, said: str) -> None:
    found = review("lower").rates
    items = tuple(dataclasses.replace(item, verdict=verdict) for item in found.comparisons)
    assert said in rates.rates_title(dataclasses.replace(found, comparisons=items), "handling").text


def test_the_title_of_the_rates_without_quarters() -> None:
    assert (
        rates.rates_title(review("no data").rates, "handling").text == "Handling injuries: no quarter is complete yet"
    )


def test_quarters_without_a_rate_stand_together_by_their_reason() -> None:
    assert rates.incomplete_sentence(review("lower").rates).text == ""
    one = rates.incomplete_sentence(review("incomplete").rates).text
    assert one.startswith("No rate is printed for 2025-Q3 (")
    every = rates.incomplete_sentence(review("no data").rates).text
    assert every.count("2023-Q1 to 2026-Q2") == 1
    assert every.count("(") == 1


@pytest.mark.parametrize(("shape", "said"), [("lower", "3 East higher"), ("no data", "too few cases to set one")])
def test_the_title_of_the_units(shape: str, said: str) -> None:
    assert said in rates.units_title(review(shape).units).text


def test_published_rates_stand_beside_those_of_four_quarters_only() -> None:
    found = review("lower")
    text = rates.reference_sentence(found.reference, found.rates.recent).text
    assert "the published rate of industry " in text
    assert text.count("Here it is ") == text.count("published rate")
    assert rates.reference_sentence(found.reference, None).text == ""


@pytest.mark.parametrize(
    ("shape", "said"),
    [("lower", "of hours worked by staff with current"), ("no data", "no quarter is complete")],
)
def test_the_title_of_coverage(shape: str, said: str) -> None:
    assert said in data.coverage_title(review(shape).training).text
    assert (data.coverage_in_short(review(shape).training).text == "") == (shape == "no data")


@pytest.mark.parametrize(
    ("shape", "said"), [("lower", "were DART cases"), ("no data", "DART cases as a share of recordable cases, by year")]
)
def test_the_title_of_the_mix(shape: str, said: str) -> None:
    assert said in data.mix_title(review(shape).reporting).text


def test_a_general_fall_is_told_only_where_both_sides_have_hours() -> None:
    assert "falling by about 3% to 4% a year" in change.background_sentence(review("lower").before_after).text
    assert change.background_sentence(dataclasses.replace(review("lower").before_after, background=None)).text == ""


def test_a_missing_diary_is_asked_for() -> None:
    assert "No diary of other changes was given." in change.diary_sentence(False).text
    assert "in the diary under the first finding" in change.diary_sentence(True).text


@pytest.mark.parametrize(("shape", "said"), [("lower", "the rate stepped to "), ("no data", "No line is fitted")])
def test_the_step_at_the_start(shape: str, said: str) -> None:
    series = review(shape).answer.series[0]
    assert said in over_time.series_sentence(series).text
    assert ("too little for a line" in over_time.series_title(series).text) == (shape == "no data")


def test_unusable_rows_are_counted_for_and_against() -> None:
    found = review("lower")
    assert "counted for the program, before and after gives a ratio of" in answer.bounds_sentence(found).text
    bounds = found.answer.bounds
    none = dataclasses.replace(bounds.set_aside, value=0)
    clean = dataclasses.replace(bounds, set_aside=none, unclassified=none)
    calm = dataclasses.replace(found, answer=dataclasses.replace(found.answer, bounds=clean))
    assert answer.bounds_sentence(calm).text.startswith("No case was set aside")
    assert answer.bounds_sentence(review("no data")).text == ""


def test_a_bad_spell_before_the_start_is_a_caution_and_its_absence_is_silent() -> None:
    found = review("lower").answer
    spell = dataclasses.replace(found, chance=dataclasses.replace(found.chance, is_bad_spell=True))
    calm = dataclasses.replace(found, chance=dataclasses.replace(found.chance, is_bad_spell=False))
    assert (answer.bad_spell_sentence(spell).text == "") == (found.chance.expected_ratio is None)
    assert answer.bad_spell_sentence(calm).text == ""


def test_a_chart_that_is_silent_and_one_that_speaks_have_other_titles() -> None:
    chart = review("lower").watch.facility
    assert ("nothing stands out from chance" in watch.chart_title(chart, "handling").text) != chart.has_signal()
    assert watch.now_words(dataclasses.replace(chart, reason="fewer than 5 cases")) == ""


def test_the_title_of_the_funnel_without_units_beyond_limits_and_the_units_left_out() -> None:
    found = review("lower").funnel
    assert funnel.funnel_title(dataclasses.replace(found, units=())).text.startswith(
        "Funnel: every unit with a rate lies"
    )
    assert "Too few cases for a rate" in funnel.left_out_note(dataclasses.replace(found, left_out=("A", "B")))


def test_refreshers_are_told_with_and_without_lapses() -> None:
    found = review("lower").due
    assert "had training that had lapsed" in due.due_sentence(found).text
    none = dataclasses.replace(found.overdue, value=0)
    calm = dataclasses.replace(found, overdue=none, due=none)
    assert "no training lapses" in due.due_sentence(calm).text
    assert due.month_name("2026-09") == "September 2026"


def test_an_unlisted_facility_gets_no_sentence_from_published_rates() -> None:
    program = made_up.program()
    frames = made_up.frames()
    frames["reference_rates"] = frames["reference_rates"].iloc[:0]
    found = assemble(made_up.ResultTables.from_dict(frames), made_up.scope(program), program)
    assert rates.reference_sentence(found.reference, found.rates.recent).text == ""
