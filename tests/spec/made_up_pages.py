"""Findings and finished pages of made-up reviews, made once for all tests that read them; nothing can change either."""

from __future__ import annotations

from handling_review.evidence.assemble import Review
from handling_review.page.build import render
from handling_review.page.findings import Part, parts

# The review is kept beside what was made of it, so that no other can come to stand in its place in memory.
_PARTS: dict[int, tuple[Review, tuple[Part, ...]]] = {}
_PAGES: dict[int, tuple[Review, str]] = {}


def parts_of(review: Review) -> tuple[Part, ...]:
    """The parts of the page with their findings, pictures drawn."""
    if id(review) not in _PARTS:
        _PARTS[id(review)] = (review, parts(review))
    return _PARTS[id(review)][1]


def page_of(review: Review) -> str:
    """The finished page."""
    if id(review) not in _PAGES:
        _PAGES[id(review)] = (review, render(review))
    return _PAGES[id(review)][1]
