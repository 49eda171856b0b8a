"""Every number on the finished page is a published one, wherever it stands; what other digits there are is of known "
"kinds."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from handling_review.evidence import control, costs, late, panel
from handling_review.evidence.assemble import Review
from handling_review.evidence.numbers import Number
from handling_review.page.labels import ITEM
from handling_review.page.sentence import Sentence
from spec import made_up_tables as made_up
from spec.made_up_pages import page_of, parts_of
from spec.page_walk import Walk

NO_QUARTER = dict.fromkeys(made_up.QUARTERS, "hours missing")
MADE_UP: dict[str, dict[str, Any]] = {
    "lower": {},
    "harmful": {"ratio": 2.5},
    "cannot tell": {"ratio": 0.9},
    "few cases": {"ratio": 0.05, "seed": 3},
    "one quarter incomplete": {"missing": {"2025-Q3": "hours of 3E stop on 2025-08-16"}},
    "no quarter complete": {"missing": NO_QUARTER},
}

# Digits in prose that are not a number of this review. Each kind is as narrow as it can be written.
KINDS = {
    "quarter": r"\b\d{4}-Q[1-4]\b",
    "day": r"\b\d{4}-\d\d-\d\d\b",
    "month": r"\b(?:January|February|March|April|May|June|July|August|September|October|November|December) \d{4}\b",
    # Of a source, or near the review; nothing that is counted may follow.
    "year": r"(?<![\d.,])(?:1981|1989|2003|2007|20[12]\d)\b(?![.,]\d| (?:case|hour|draw|row|people|day|unit))",
    "range of years": r"\b20\d\d to 20\d\d\b",
    "base of a rate": r"\b(?:per )?200,000(?: hours)?\b|\b100 full-time (?:staff|workers)\b|50 weeks at 40 hours",
    "number of a finding": r"\bFinding \d+\b",
    "regulation or form": r"\b29 CFR(?: Part)? ?(?:1904(?:\.\d+)?)?|\bForm 300A?\b|\bOSHA 300 log\b|part 1904\b|Title "
    r"29\b",
    "industry code": r"\bindustry \d+\b",
    "hash": r"\b[0-9a-f]{12}\b|\b[0-9a-f]{64}\b|\bSHA-256\b",
    "hour of the day": r"\b\d\d:00 to \d\d:59\b",
    "time since the first hours": r"first 3 months|3 to 12 months|1 to 2 years|2 years and more",
    "step of an audit": "|".join(re.escape(name) for name in ITEM.values() if re.search(r"\d", name)),
    "rest of a list": r"\band \d+ more\b",
    "fewest that a rule asks for": rf"\bfewer than (?:{control.FEWEST_BASELINE}|{control.FEWEST_CASES}|"
    rf"{costs.FEWEST_CLAIMS}|{late.FEWEST_LAGS}|{panel.FEWEST_QUARTERS})\b",
    "number of a cited review": r"\bCD005958\b",
    "pound in kilograms": r"a pound is 0\.45 kg",
}  # fmt: skip
NUMBER_IN_TEXT = re.compile(r"\d")


class Page(NamedTuple):
    """A finished page: how it reads, what is published, the names that come from the data."""

    walk: Walk
    published: dict[str, tuple[float | None, str]]
    names: tuple[str, ...]


def names_in(review: Review) -> tuple[str, ...]:
    """Names from the data that may hold digits: units, facility, courses, proposals, what the diary tells."""
    found = [row.name for row in review.units.rows] + [review.scope.facility_name, review.scope.facility_note]
    found += [row.stated.name for row in review.budget.proposals] + list(review.program.training.qualifying_courses)
    found += [row.unit for row in review.units.rows]
    return tuple(sorted({name for name in found if name}, key=len, reverse=True))


@cache
def made_up_review(name: str) -> Review:
    return made_up.review(**MADE_UP[name])


@cache
def page(name: str) -> Page:
    review = made_up_review(name)
    published = {number.key: (number.value, number.shown) for number in review.numbers}
    return Page(Walk(page_of(review)), published, names_in(review))


@pytest.fixture(scope="module")
def sample(sample_review: tuple[Path, Path]) -> tuple[Page, Path]:
    """The sample as it is built from its files; what is published is read from its table, not from memory."""
    _, out = sample_review
    with (out / "tables" / "numbers.csv").open(encoding="utf-8-sig", newline="") as file:
        published = {
            row["key"]: (float(row["value"]) if row["value"] else None, row["shown"]) for row in csv.DictReader(file)
        }
    with (out / "tables" / "rates_by_unit.csv").open(encoding="utf-8-sig", newline="") as file:
        names = tuple(sorted({row["unit_name"] for row in csv.DictReader(file)}, key=len, reverse=True))
    return Page(Walk((out / "program-review.html").read_text(encoding="utf-8")), published, names), out


def check_keyed(page: Page) -> int:
    """Each element with a key shows and holds what is published under it; gives how many were compared."""
    compared = 0
    for block in page.walk.blocks:
        for piece in block.pieces:
            if piece.key is None:
                continue
            assert piece.key in page.published, piece.key
            value, shown = page.published[piece.key]
            assert piece.text == shown, piece.key
            if piece.value is not None:
                assert value is not None, piece.key
                assert float(piece.value) == pytest.approx(value, rel=1e-12), piece.key
            else:
                assert value is None or math.isinf(value), piece.key
            compared += 1
    return compared


def stray(text: str, names: tuple[str, ...]) -> list[str]:
    """Digits of no known kind, with what stands around them."""
    for name in names:
        text = text.replace(name, "")
    for pattern in KINDS.values():
        text = re.sub(pattern, " ", text)
    return re.findall(r".{0,30}\d.{0,30}", text)


def check_prose(page: Page) -> int:
    """Digits of prose outside keyed numbers are of known kinds; gives how many texts were read."""
    read = 0
    for block in page.walk.prose():
        around = {*block.classes, *block.inside}
        if around & {"routes", "facts", "number", "source"} or block.tag == "title":
            continue  # contents, masthead dates, citations
        text = block.unkeyed
        if block.tag == "h3":
            text = re.sub(r"^\d+ ", "", text)
        if "sources" in around:
            continue
        found = stray(text, page.names)
        assert found == [], (block.tag, block.text[:120])
        read += 1
    return read


def test_numbers_of_the_sample(sample: tuple[Page, Path], capsys: pytest.CaptureFixture[str]) -> None:
    found, _ = sample
    keyed, texts = check_keyed(found), check_prose(found)
    with capsys.disabled():
        print(f"\nsample page: {keyed} numbers compared with numbers.csv, {texts} texts read for other digits")
    assert keyed > 3000
    assert texts > 250


@pytest.mark.parametrize("name", MADE_UP)
def test_numbers_of_made_up_reviews(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    found = page(name)
    keyed, texts = check_keyed(found), check_prose(found)
    with capsys.disabled():
        print(f"\n{name}: {keyed} numbers compared, {texts} texts read for other digits")
    assert keyed > (500 if name == "no quarter complete" else 2000)
    assert texts > 200


def sentences_of_pictures(review: Review) -> Iterator[tuple[str, Sentence]]:
    for part in parts_of(review):
        for finding in part.findings:
            for picture in finding.pictures:
                yield picture.id, picture.title
                yield picture.id, picture.description


@pytest.mark.parametrize("name", MADE_UP)
def test_titles_and_descriptions_of_pictures_hold_published_numbers_only(name: str) -> None:
    review, found = made_up_review(name), page(name)
    checked = 0
    for id, sentence in sentences_of_pictures(review):
        for part in sentence.parts:
            if isinstance(part, Number):
                assert found.published[part.key] == (part.value, part.shown)
                checked += 1
        rest = " ".join(part for part in sentence.parts if isinstance(part, str))
        assert stray(rest, found.names) == [], (id, sentence.text)
    assert checked >= 5 or name == "no quarter complete"


@pytest.mark.parametrize("name", MADE_UP)
def test_the_embedded_titles_are_those_sentences(name: str) -> None:
    review, figures = made_up_review(name), page(name).walk.figures()
    seen = 0
    for part in parts_of(review):
        for finding in part.findings:
            for picture in finding.pictures:
                if picture.name:
                    assert figures[picture.id]["title"] == picture.title.text
                    assert figures[picture.id]["about"] == picture.description.text
                    seen += 1
    assert seen or name == "no quarter complete"


def hovers(figure: dict[str, Any]) -> Iterator[str]:
    for trace in figure["data"]:
        texts = trace.get("hovertext") or []
        yield from [texts] if isinstance(texts, str) else texts
    yield from (note["text"] for note in figure["layout"].get("annotations", []))


def check_hovers(page: Page) -> int:
    """Numbers of hovers and labels inside pictures are texts of published numbers; gives how many were compared."""
    shown = {text for _, text in page.published.values()}
    compared = 0
    for id, figure in page.walk.figures().items():
        if "data" not in figure:
            continue
        for text in hovers(figure):
            plain = re.sub(r"<[^>]*>", " ", text)
            for name in page.names:
                plain = plain.replace(name, " ")
            for pattern in (*KINDS.values(), r"\b95%|\b99\.8%|\b90th", r"^\d{4}\b", "^[A-Z]{1,2}$"):
                plain = re.sub(pattern, " ", plain)
            for number in re.findall(r"[−]?\d+(?:,\d{3})*(?:\.\d+)?%?", plain):
                assert number in shown or f"USD {number}" in shown or any(number in s.split() for s in shown), (
                    id,
                    text,
                )
                compared += 1
    return compared


def test_hovers_and_labels_of_the_sample(sample: tuple[Page, Path], capsys: pytest.CaptureFixture[str]) -> None:
    compared = check_hovers(sample[0])
    with capsys.disabled():
        print(f"\nsample page: {compared} numbers in hovers and labels compared")
    assert compared > 500


@pytest.mark.parametrize("name", MADE_UP)
def test_hovers_and_labels_of_made_up_reviews(name: str) -> None:
    assert check_hovers(page(name)) >= (0 if name == "no quarter complete" else 300)


def test_the_walk_sees_a_wrong_number_and_a_stray_digit() -> None:
    text = '<p class="says"><data data-key="k" value="7.0">8</data> of 12 cases in 2025-Q1</p>'
    wrong = Page(Walk(text), {"k": (7.0, "7")}, ())
    with pytest.raises(AssertionError):
        check_keyed(wrong)
    with pytest.raises(AssertionError):
        check_prose(wrong)
    assert stray("In 2025-Q1 and on 2025-03-04 per 200,000 hours (29 CFR 1904.7)", ()) == []
    assert stray("about 7 cases", ()) != []
    assert stray("fewer than 12 cases", ()) != []
