"""Terms and abbreviations: explained where a reader first meets them, from one list."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

import pytest

from handling_review.evidence.assemble import Review
from handling_review.page.first_use import explain
from handling_review.page.sentence import say
from handling_review.page.words.glossary import Definition, definitions
from spec import made_up_tables as made_up
from spec.made_up_pages import page_of
from spec.page_walk import Block, Walk

REVIEWS: dict[str, dict[str, Any]] = {
    "lower": {},
    "harmful": {"ratio": 2.5},
    "no quarter complete": {"missing": dict.fromkeys(made_up.QUARTERS, "hours missing")},
}
# Letters that stand for themselves: roman quarters, the facility's own names, authors, answers in capitals.
OWN_LETTERS = {"SHA", "NO", "USD", "CD"}
NO_LINK = {"terms", "formulas", "sources", "routes", "contents", "about", "what-if", "masthead", "facts"}


@cache
def read(name: str) -> tuple[Review, Walk]:
    review = made_up.review(**REVIEWS[name])
    return review, Walk(page_of(review))


def linkable(walk: Walk) -> list[Block]:
    """Blocks of prose in which the first use may stand, in reading order."""
    return [
        block
        for block in walk.prose()
        if block.tag in ("p", "li", "dd")
        and not {*block.classes, *block.inside} & NO_LINK
        and "facts" not in block.inside
    ]


def uses(block: Block, form: str) -> bool:
    first = f"[{form[0].lower()}{form[0].upper()}]" if form[0].islower() else re.escape(form[0])
    end = r"(?![\w-])" if form[-1].isalnum() else ""
    return re.search(rf"(?<![\w-]){first}{re.escape(form[1:])}{end}", block.text) is not None


@pytest.mark.parametrize("name", REVIEWS)
def test_each_term_in_prose_is_led_to_its_meaning_once_and_where_it_first_stands(name: str) -> None:
    review, walk = read(name)
    blocks = linkable(walk)
    linked = [(at, piece.term) for at, block in enumerate(blocks) for piece in block.pieces if piece.term]
    assert len({term for _, term in linked}) == len(linked), "a term is explained once"
    told = 0
    for term in definitions(review):
        where = next((at for at, to in linked if to == f"#term-{term.id}"), None)
        used = next((at for at, block in enumerate(blocks) if any(uses(block, form) for form in term.used_as)), None)
        if used is None:
            assert where is None
            continue
        assert where is not None, term.term
        # A longer term that holds this one may be explained first, in the same place; then it waits for its next use.
        holds = [other for other in definitions(review) if other is not term
                 and any(mine in theirs for mine in term.used_as for theirs in other.used_as)]  # fmt: skip
        assert where == used or holds, term.term
        told += 1
    assert told >= (8 if name == "no quarter complete" else 15)


@pytest.mark.parametrize("name", REVIEWS)
def test_every_link_of_a_term_meets_its_meaning_and_none_stands_in_a_name(name: str) -> None:
    review, walk = read(name)
    ids = {values.get("id") for _, values in walk.tags}
    for block in walk.blocks:
        for piece in block.pieces:
            if piece.term:
                assert piece.term[1:] in ids
                assert block.tag in ("p", "li", "dd"), "no link in headings, captions, cells or titles of pictures"
    assert {f"term-{term.id}" for term in definitions(review)} <= ids


@pytest.mark.parametrize("name", REVIEWS)
def test_every_abbreviation_is_in_the_list(name: str) -> None:
    review, walk = read(name)
    known = {word for term in definitions(review) for word in re.findall(r"[A-Z]{2,}", f"{term.term} {term.meaning}")}
    names = {
        word for row in review.units.rows for word in re.findall(r"[A-Z]{2,}|\b\d[A-Z]\b", f"{row.name} {row.unit}")
    }
    found: set[str] = set()
    for block in walk.blocks:
        if "sources" in block.inside or "code" in block.inside:
            continue
        if block.is_cell and any(mark in block.text for mark in (".csv", "_", "◆", "○", "▲")):
            continue  # files, settings and codes as they are written
        found |= set(re.findall(r"(?<![\w-])[A-Z]{2,}(?![\w-])", block.text))
    assert found - known - names - OWN_LETTERS - {"EB", "TR", "PO", "JD", "JF", "AR", "LS", "HS", "HM", "FP", "MP",
    "KJ",
                                                  "GY", "HQ", "ML", "WK", "BA"} == set()  # fmt: skip
    assert "DART" in found


def test_an_abbreviation_is_spelled_out_at_its_first_use_only() -> None:
    _, walk = read("lower")
    text = " ".join(block.text for block in walk.blocks)
    assert text.count("DART (days away, restricted work or transfer)") == 1


TERMS = (
    Definition("share", "DART share", say("x"), ("DART share",)),
    Definition("dart", "DART", say("x"), ("DART",), "days away"),
)


def test_the_longer_form_wins_and_the_shorter_is_explained_at_its_next_use() -> None:
    text = explain("<p>The DART share of DART cases, DART again.</p>", TERMS)
    assert text == (
        '<p>The <a class="term" href="#term-share">DART share</a> of <abbr><a class="term" href="#term-dart">DART</a>'
        "</abbr> (days away) cases, DART again.</p>"
    )


@pytest.mark.parametrize(
    "text",
    [
        "<h2>DART</h2>",
        "<table><caption>DART</caption><tr><td>DART</td></tr></table>",
        "<figure><figcaption>DART</figcaption><p>DART</p></figure>",
        '<p><a href="#x">DART</a></p>',
        '<p title="DART">x</p>',
        "<script>var a = '<p>DART</p>';</script>",
        "<p>DARTS and BE-DART</p>",
    ],
)
def test_no_link_stands_in_headings_tables_pictures_links_attributes_or_scripts(text: str) -> None:
    assert explain(text, TERMS) == text


def test_escaped_text_stays_escaped() -> None:
    assert "<b>" not in explain("<p>&lt;b&gt; DART &amp; co</p>", TERMS)
