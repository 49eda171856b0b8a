"""Pictures: what they draw is what the tables print, and no text from the data can act in them."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import pytest

from handling_review.evidence.assemble import Review, assemble
from handling_review.page import figures, figures_compare, house
from handling_review.page.findings import parts
from handling_review.page.glyph import WIDTH, Scale, rate_glyph, rate_scale, ratio_glyph
from handling_review.page.marks import letter
from spec import made_up_tables as made_up
from spec.made_up_pages import parts_of


def pictures(review: Review) -> dict[str, house.Picture]:
    found = [finding.picture for part in parts_of(review) for finding in part.findings if finding.picture]
    return {picture.id: picture for picture in found}


def dots(picture: house.Picture, axis: str = "y") -> dict[str, Any]:
    traces = [t for t in picture.figure["data"] if t["mode"] == "markers" and t.get("yaxis", "y") == axis]
    assert len(traces) >= 1
    return dict(traces[0])


def test_dots_and_whiskers_are_the_published_rates_and_limits() -> None:
    review = made_up.review()
    trace = dots(pictures(review)["rates"])
    spans = review.rates.quarters
    for index, x in enumerate(trace["x"]):
        rate = spans[x].of("handling")
        assert rate.rate is not None
        assert trace["y"][index] == rate.rate.value
        top = rate.upper or rate.limit
        assert top is not None
        assert trace["y"][index] + trace["error_y"]["array"][index] == pytest.approx(top.value)


def test_the_numbers_on_hover_are_those_of_the_table() -> None:
    review = made_up.review()
    trace = dots(pictures(review)["rates"])
    rate = review.rates.quarters[0].of("handling")
    assert rate.rate is not None
    text = trace["hovertext"][0]
    for number in (rate.events, rate.hours, rate.rate, rate.lower, rate.upper):
        assert number is not None
        assert number.shown in text


def test_an_incomplete_quarter_has_no_dot_and_a_band_that_says_so() -> None:
    review = made_up.review(missing={"2025-Q3": "hours of 3E stop on 2025-08-16"})
    picture = pictures(review)["rates"]
    assert 10 not in dots(picture)["x"]  # 2025-Q3 is the eleventh of the fourteen quarters
    assert [a["x"] for a in picture.figure["layout"]["annotations"] if a["text"] == "no rate"] == [10]


def test_a_provisional_quarter_is_hollow_and_the_others_are_not() -> None:
    symbols = dots(pictures(made_up.review())["rates"])["marker"]["symbol"]
    assert symbols[-1] == "circle-open"
    assert set(symbols[:-1]) == {"circle"}


def test_rate_axes_start_at_zero() -> None:
    found = pictures(made_up.review())
    for name in ("rates", "series"):
        axes = [v for k, v in found[name].figure["layout"].items() if k.startswith("yaxis")]
        assert all(axis["range"][0] == 0 for axis in axes), name
    assert found["units"].figure["layout"]["xaxis"]["rangemode"] == "tozero"


def test_ratios_are_drawn_with_their_range_and_a_line_at_no_change() -> None:
    review = made_up.review()
    figure = pictures(review)["change"].figure
    ratio = review.before_after.primary.ratio
    assert ratio is not None
    lines = [t for t in figure["data"] if t["mode"] == "lines+markers"]
    # The primary series is the top row, drawn last.
    assert lines[-1]["x"] == [ratio.lower.value, ratio.upper.value]
    assert any(shape["x0"] == 1 == shape["x1"] for shape in figure["layout"]["shapes"])


def test_program_starts_and_diary_entries_are_marked() -> None:
    figure = pictures(made_up.review())["rates"].figure
    verticals = [s["x0"] for s in figure["layout"]["shapes"] if s["x0"] == s["x1"]]
    # Five start days, each the first of a quarter: half a step left of that quarter's dot.
    assert verticals == [2.5, 3.5, 4.5, 5.5, 6.5]
    letters = [a["text"] for a in figure["layout"]["annotations"] if len(a["text"]) == 1]
    assert letters == ["A", "B"]


def test_meaning_never_hangs_on_colour_alone() -> None:
    lines = list(pictures(made_up.review())["coverage"].figure["data"])
    assert len({t["line"]["color"] for t in lines}) == len({t["line"]["dash"] for t in lines}) == len(lines)
    assert len({t["marker"]["symbol"] for t in lines}) == len(lines)


HOSTILE = '<a href="https://example.org">x</a><script>alert(1)</script>&'


@cache
def hostile_review() -> Review:
    frames = made_up.frames()
    frames["units"].loc[0, "name"] = HOSTILE
    frames["events_diary"].loc[0, "what"] = HOSTILE
    program = made_up.program()
    return assemble(made_up.ResultTables.from_dict(frames), made_up.scope(program), program)


def test_names_from_the_data_are_escaped_in_every_picture() -> None:
    for picture in pictures(hostile_review()).values():
        text = json.dumps(picture.figure)
        assert "<a " not in text
        assert "<script" not in text


def test_the_json_of_a_picture_can_stand_in_a_script_element() -> None:
    for picture in pictures(hostile_review()).values():
        text = picture.json()
        assert not set("<>&").intersection(text)
        assert json.loads(text)["data"] == picture.figure["data"]


def test_a_picture_is_the_same_on_every_run() -> None:
    review = made_up.review()
    again = [finding.picture for part in parts(review) for finding in part.findings if finding.picture]
    assert {k: p.json() for k, p in pictures(review).items()} == {p.id: p.json() for p in again}


def test_pictures_hold_up_when_no_quarter_is_complete() -> None:
    review = made_up.review(missing=dict.fromkeys(made_up.QUARTERS, "hours missing"))
    assert figures.rates_picture(review).description.text.startswith("Time chart without points")
    assert figures.mix_picture(review) is None
    assert figures_compare.units_picture(review).figure["data"] == []


def test_letters_go_on_after_z() -> None:
    assert [letter(i) for i in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]


# The small pictures in table cells


def test_a_glyph_stays_inside_its_cell() -> None:
    review = made_up.review()
    rates = [span.of("handling") for span in review.rates.quarters]
    scale = rate_scale(rates)
    for rate in rates:
        found = rate_glyph(rate, scale)
        assert found is not None
        places = [found.line_from, found.line_to, *([found.dot] if found.dot is not None else [])]
        assert all(0 <= place <= WIDTH for place in places)
        assert found.line_from <= (found.dot or found.line_from) <= found.line_to


def test_one_wide_interval_does_not_flatten_the_rest() -> None:
    scale = Scale(0, 10)
    assert scale.at(5) == pytest.approx(WIDTH / 2)
    assert scale.at(400) == scale.at(10)


def test_a_ratio_of_a_half_and_of_two_lie_equally_far_from_one() -> None:
    review = made_up.review()
    glyph = ratio_glyph(review.before_after.primary.ratio)
    assert glyph is not None
    assert glyph.mark == pytest.approx(WIDTH / 2)
    scale = Scale(0.1, 10, is_log=True)
    assert scale.at(1) - scale.at(0.5) == pytest.approx(scale.at(2) - scale.at(1), abs=0.11)
