"""The page's prose is at about grade 9: Flesch-Kincaid and ARI, by the rules of ``spec.plain_english``."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from statistics import mean
from typing import Any

import pytest

from handling_review.evidence.assemble import Review
from handling_review.page.front import front
from handling_review.page.labels import ITEM
from handling_review.page.sentence import Sentence
from handling_review.page.words import glossary, method
from spec import made_up_tables as made_up
from spec.made_up_pages import parts_of
from spec.plain_english import countable, grade

REVIEWS: dict[str, dict[str, Any]] = {
    "lower": {},
    "harmful": {"ratio": 2.5},
    "cannot tell": {"ratio": 0.9},
    "few cases": {"ratio": 0.05, "seed": 3},
    "one quarter incomplete": {"missing": {"2025-Q3": "hours of 3E stop on 2025-08-16"}},
    "no quarter complete": {"missing": dict.fromkeys(made_up.QUARTERS, "hours missing")},
}
PAGE_ONE, ONE_TEXT, HARDEST, LONGEST = 9.0, 10.0, 12.0, 40
FEWEST_WORDS = 12  # a grade of fewer words than this says nothing; they are judged with the rest of their kind


@cache
def review(name: str) -> Review:
    return made_up.review(**REVIEWS[name])


def names_in(found: Review) -> tuple[str, ...]:
    names = [row.name for row in found.units.rows] + [row.stated.name for row in found.budget.proposals]
    return (*names, *found.program.training.qualifying_courses, *ITEM.values())


def texts(found: Review) -> Iterator[tuple[str, str]]:
    """Every text of the page by its kind: says, how, picture, note, method."""
    for part in parts_of(found):
        yield "method", part.lead
        for finding in part.findings:
            yield from (("says", sentence.text) for sentence in finding.says)
            yield from (("how", sentence.text) for sentence in finding.how)
            for picture in finding.pictures:
                yield "picture", picture.description.text
            for table in (*finding.tables, *finding.folded):
                yield from (("note", str(note)) for note in table.notes)
    yield from (("method", sentence.text) for sentence in (*method.CAUTIONS, *method.assumptions(found)))
    yield from (("method", term.meaning.text) for term in glossary.definitions(found))


def page_one(found: Review) -> tuple[Sentence, ...]:
    first = front(found)
    return (*first.stand, *first.change, *first.stands_out, *(action.says for action in first.actions), *first.open)


@pytest.mark.parametrize("name", REVIEWS)
def test_page_one_reads_at_grade_9(name: str) -> None:
    names = names_in(review(name))
    whole = grade(" ".join(sentence.text for sentence in page_one(review(name))), names)
    assert whole.kincaid <= PAGE_ONE
    assert whole.ari <= PAGE_ONE
    for sentence in page_one(review(name)):
        found = grade(sentence.text, names)
        if found.words >= FEWEST_WORDS:
            assert found.mean <= HARDEST, sentence.text
        assert found.longest <= LONGEST, sentence.text


@pytest.mark.parametrize("name", REVIEWS)
def test_what_each_finding_says_reads_at_grade_10_and_nothing_is_over_12(name: str) -> None:
    names = names_in(review(name))
    for part in parts_of(review(name)):
        for finding in part.findings:
            whole = grade(" ".join(sentence.text for sentence in finding.says), names)
            assert whole.mean <= ONE_TEXT, finding.id
    for kind, text in texts(review(name)):
        found = grade(text, names)
        if found.words >= FEWEST_WORDS:
            assert found.mean <= HARDEST, (kind, text)
        assert found.longest <= LONGEST, (kind, text)


@pytest.mark.parametrize("kind", ["says", "how", "picture", "note", "method"])
def test_each_kind_of_text_reads_at_grade_9_on_the_whole(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    found = [grade(text, names_in(review("lower"))) for name, text in texts(review("lower")) if name == kind]
    kincaid, ari = mean(item.kincaid for item in found), mean(item.ari for item in found)
    with capsys.disabled():
        print(f"\n{kind}: {len(found)} texts, Flesch-Kincaid {kincaid:.1f}, ARI {ari:.1f}")
    assert max(kincaid, ari) <= PAGE_ONE


def test_the_measures_tell_plain_from_hard() -> None:
    plain = "The rate was lower after training. That is a fall."
    hard = (
        "Notwithstanding the methodological heterogeneity of the constituent evaluations, the preponderance of "
        "available "
        "epidemiological evidence substantiates the institutional implementation of comprehensive interventions."
    )
    assert grade(plain).mean < 6
    assert grade(hard).mean > 18


def test_ranges_numbers_and_names_do_not_count() -> None:
    said = "Memory care, Dogwood: about 7.5 (likely between 2.0 and 19.1) on 2025-03-04."
    assert re.sub(r"\s+", " ", countable(said, ["Memory care, Dogwood"])).strip() == "it: about 7 on 7 ."
