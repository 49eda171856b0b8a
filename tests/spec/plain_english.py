"""How hard a text is to read: school grades by two measures of the ``readability`` library.

Flesch-Kincaid goes by syllables and length of sentence, the automated readability index (ARI) by letters and length of
sentence; two, because the first guesses syllables and the second cannot. What is read is the page's own prose, made
countable by four rules:

- A number, a date, a quarter or an amount of money is one short word, as it is when read in passing.
- A bracket that holds nothing but numbers and the words of a range ("likely between 2.0 and 19.1") is left out: it is
  an aside that may be skipped. Any other bracket is read with its sentence.
- A name from the data (unit, course, proposal, group) is one short word: the facility chose it.
- Only a full stop, a question mark or an exclamation mark ends a sentence; colons and semicolons do not.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import readability

_NUMBER = r"[−-]?(?:USD )?[−-]?\d+(?:[.,]\d+)*%?"
_RANGE_WORDS = r"likely|between|and|to|from|up|about|low|high|case|cases|in|hours|p|=|days|test|of"
_ASIDE = re.compile(rf"\s*\((?:{_NUMBER}|{_RANGE_WORDS}|[\s,;:×÷=+−])+\)")
_TOKEN = re.compile(r"[A-Za-z]+(?:['’-][A-Za-z]+)*")


@dataclass(frozen=True)
class Grade:
    """School grades of one text and its longest sentence in words."""

    kincaid: float
    ari: float
    longest: int
    words: int

    @property
    def mean(self) -> float:
        return (self.kincaid + self.ari) / 2


def countable(text: str, names: Sequence[str] = ()) -> str:
    """The text by the rules above."""
    for name in sorted(names, key=len, reverse=True):
        text = text.replace(name, "it")
    text = re.sub(r"\d{4}-(?:Q\d|\d\d-\d\d)", "7", text)
    text = _ASIDE.sub("", text)
    return re.sub(_NUMBER, " 7 ", text)


def grade(text: str, names: Sequence[str] = ()) -> Grade:
    """Grades of a text of one or more sentences."""
    plain = countable(text, names)
    sentences = [s for s in re.split(r"(?<=[a-z0-9)”\]’ A-Z])[.?!](?=\s|$)", plain) if _TOKEN.search(s)]
    longest = max((len(re.findall(r"[A-Za-z7][A-Za-z'’-]*", s)) for s in sentences), default=0)
    lines = [" ".join(re.findall(r"[A-Za-z]+(?:['’-][A-Za-z]+)*|7", unit)) + " ." for unit in sentences]
    measured = readability.getmeasures("\n".join(lines), lang="en")
    found = measured["readability grades"]
    return Grade(found["Kincaid"], found["ARI"], longest, measured["sentence info"]["words"])
