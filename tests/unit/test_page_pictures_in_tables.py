"""Every number that a picture draws or says on hover stands in a table or sentence of the same finding."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any

import pytest

from handling_review.evidence.numbers import Number
from handling_review.page.house import Picture
from handling_review.page.numbered import Finding
from handling_review.page.sentence import Sentence
from spec import made_up_tables as made_up
from spec.made_up_pages import parts_of

ACROSS = {"units", "funnel", "tasks", "audits", "designs", "change", "variants", "levers", "severity"}
CURVES = {"funnel"}  # the limits between units are worked out for the drawing; those at each unit stand in the table
SCALE_ENDS = {0.02, 50.0}  # a forest draws an arrow where a range goes beyond its scale
NUMBER = re.compile(r"(?<![\w.])[−-]?\d+(?:,\d{3})*(?:\.\d+)?%?")
NAMES_OF_MEASURES = re.compile(r"(95|99\.8)% limits|90th percentile")


@cache
def findings() -> tuple[Finding, ...]:
    return tuple(finding for part in parts_of(made_up.review()) for finding in part.findings)


def drawn_in() -> list[Any]:
    return [pytest.param(finding, picture, id=picture.id) for finding in findings() for picture in finding.pictures]


def numbers_of(finding: Finding) -> Iterator[Number]:
    cells = [cell for table in (*finding.tables, *finding.folded) for row in table.rows for cell in row]
    for one in (*cells, *finding.says, *finding.how):
        if isinstance(one, Number):
            yield one
        elif isinstance(one, Sentence):
            yield from (part for part in one.parts if isinstance(part, Number))


def values_drawn(picture: Picture) -> Iterator[float]:
    """Values on the axis that measures: points, both ends of their ranges, and the lines across."""
    kind = picture.id.split("-")[0] if picture.id.split("-")[0] in ("signals", "levers") else picture.id
    axis = "x" if kind in ACROSS else "y"
    for trace in picture.figure["data"]:
        is_curve = kind in CURVES and trace["mode"] == "lines"
        if is_curve:
            continue
        points = trace[axis]
        whiskers = trace.get(f"error_{axis}") or {}
        for at, value in enumerate(points):
            if value is None or value in SCALE_ENDS:
                continue
            yield value
            if "array" in whiskers:
                yield value + whiskers["array"][at]
                yield value - whiskers["arrayminus"][at]
    for shape in picture.figure["layout"].get("shapes", []):
        place = shape.get(f"{axis}ref", "paper")
        if shape["type"] == "line" and shape[f"{axis}0"] == shape[f"{axis}1"] and re.fullmatch(rf"{axis}\d*", place):
            yield shape[f"{axis}0"]


def is_one_of(value: float, known: Iterable[float]) -> bool:
    return any(
        math.isclose(value * factor, one, rel_tol=1e-9, abs_tol=1e-9) for one in known for factor in (1, 0.01, 1000)
    )


@pytest.mark.parametrize(("finding", "picture"), drawn_in())
def test_every_drawn_value_stands_in_a_table_of_its_finding(finding: Finding, picture: Picture) -> None:
    known = {number.value for number in numbers_of(finding) if number.value is not None}
    if picture.id == "tasks":  # a stretch is a sum of two columns of its row
        cells = [row[-6:] for row in finding.tables[0].rows]
        known |= {a.value + b.value for row in cells for a, b in itertools.combinations(row, 2)}  # type: ignore[union-attr]
    given = {0.0, 1.0}  # the lines at nought and at no change
    missing = [value for value in values_drawn(picture) if value not in given and not is_one_of(value, known)]
    assert missing == []


def said_on_hover(picture: Picture) -> Iterator[str]:
    for trace in picture.figure["data"]:
        yield from (text for text in trace.get("hovertext") or [] if text)


@pytest.mark.parametrize(("finding", "picture"), drawn_in())
def test_every_number_on_hover_is_printed_as_it_stands_in_the_table(finding: Finding, picture: Picture) -> None:
    printed = {token for number in numbers_of(finding) for token in NUMBER.findall(number.shown)}
    spoken = list(said_on_hover(picture))
    assert spoken
    for text in spoken:
        first, _, rest = text.partition("<br>")
        if re.match(r"(?:at least )?\d+ days|.*: \d+$", first):  # no line of its own for what it is about
            rest = f"{first.rpartition(': ')[2]}<br>{rest}"
        figures = NAMES_OF_MEASURES.sub("", rest)
        assert NUMBER.findall(figures), text
        assert set(NUMBER.findall(figures)) <= printed, text


def test_the_pictures_that_can_be_picked_are_all_looked_at() -> None:
    shown = [picture.id for finding in findings() for picture in finding.pictures]
    assert len(shown) == len(set(shown)) == 25
    assert sum(picture.startswith("signals") for picture in shown) == 7
