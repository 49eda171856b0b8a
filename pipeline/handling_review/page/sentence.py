"""A sentence made of words and published numbers: plain text for the minutes, HTML for the page."""

from __future__ import annotations

import math
from dataclasses import dataclass

from markupsafe import Markup, escape

from handling_review.evidence.numbers import Number

Part = str | Number


@dataclass(frozen=True)
class Sentence:
    """Words and numbers in order. Numbers keep their key, so that each can be traced on the page."""

    parts: tuple[Part, ...]

    @property
    def text(self) -> str:
        """The sentence as plain text."""
        return "".join(part if isinstance(part, str) else part.shown for part in self.parts)

    def __str__(self) -> str:
        """The sentence as plain text."""
        return self.text

    def __html__(self) -> str:
        """The sentence as escaped HTML, each number in an element that carries its key."""
        return "".join(str(escape(part)) if isinstance(part, str) else number_html(part) for part in self.parts)

    def __add__(self, other: Sentence) -> Sentence:
        """Two sentences with a space between."""
        if not self.parts or not other.parts:
            return Sentence(self.parts + other.parts)
        return Sentence((*self.parts, " ", *other.parts))


def say(*parts: Part) -> Sentence:
    """A sentence from its parts."""
    return Sentence(parts)


def counted(number: Number, one: str, many: str) -> tuple[Part, Part]:
    """A count with its noun: "1 case", "18 cases"."""
    return number, f" {one}" if number.value == 1 else f" {many}"


NOTHING = Sentence(())


def spoken(*sentences: Sentence) -> tuple[Sentence, ...]:
    """The sentences that say something."""
    return tuple(sentence for sentence in sentences if sentence != NOTHING)


def number_html(number: Number) -> Markup:
    """A number as an element that carries its key and, where it has one, its machine-readable value."""
    value = number.value
    machine = "" if value is None or math.isinf(value) else f' value="{escape(repr(value))}"'
    tag = "data" if machine else "span"
    return Markup(f'<{tag} data-key="{escape(number.key)}"{machine}>{escape(number.shown)}</{tag}>')


def listed(names: tuple[str, ...], most: int = 6, word: str = "and") -> str:
    """Names as a list in words; beyond ``most`` the rest is counted. Semicolons part names that hold commas."""
    between, last = ("; ", f"; {word} ") if any("," in name for name in names) else (", ", f" {word} ")
    if len(names) > most:
        return f"{between.join(names[:most])}{last}{len(names) - most} more"
    if len(names) < 2:
        return "".join(names)
    return f"{between.join(names[:-1])}{last}{names[-1]}"
