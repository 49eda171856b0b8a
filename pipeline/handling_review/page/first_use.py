"""Terms explained where a reader first meets them: the finished page, with each term's first use led to its meaning."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from html.parser import HTMLParser

from markupsafe import escape

from handling_review.page.words.glossary import Definition

_PROSE = ("p", "li", "dd")
# Places whose text names something else, or that a script writes anew: no link may stand there.
_NO_LINK = ("a", "nav", "header", "table", "h1", "h2", "h3", "figure", "summary", "label", "code", "form", "option")
_SKIPPED = re.compile(r"<(table|script|style)\b.*?</\1>", re.DOTALL)  # most of the page; none lies within its like
_NO_LINK_CLASSES = ("terms", "formulas", "sources")


@dataclass(frozen=True)
class _Stretch:
    """Where a stretch of prose lies in the page's text."""

    start: int
    end: int


class _Prose(HTMLParser):
    """Finds the stretches of text in paragraphs, list items and definitions in which a link may stand."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=False)
        text = _SKIPPED.sub(lambda found: " " * len(found.group()), text)  # what follows keeps its place
        self._lines = [0]
        for line in text.split("\n"):
            self._lines.append(self._lines[-1] + len(line) + 1)
        self._open: list[tuple[str, bool]] = []
        self.found: list[_Stretch] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        classes = (dict(attrs).get("class") or "").split()
        self._open.append((tag, tag in _NO_LINK or any(name in _NO_LINK_CLASSES for name in classes)))
        if tag in ("meta", "input", "br"):
            self._open.pop()

    def handle_endtag(self, tag: str) -> None:
        if self._open:
            self._open.pop()

    def handle_data(self, data: str) -> None:
        if any(blocked for _, blocked in self._open) or not any(tag in _PROSE for tag, _ in self._open):
            return
        line, column = self.getpos()
        start = self._lines[line - 1] + column
        self.found.append(_Stretch(start, start + len(data)))


def explain(text: str, terms: Sequence[Definition]) -> str:
    """The page with the first use of each term in prose as a link to its meaning; an abbreviation is spelled out there.

    Where two terms start at one place the longer form wins, and the other is explained at its next use.
    """
    patterns = {
        form: (re.compile(rf"(?<![\w-]){_either_case(str(escape(form)))}(?![\w-])" if form[-1].isalnum() else
                          rf"(?<![\w-]){_either_case(str(escape(form)))}"), term)
        for term in terms
        for form in sorted(term.used_as, key=len, reverse=True)
    }  # fmt: skip
    left = {term.id for term in terms}
    pieces: list[str] = []
    done = 0
    for stretch in _Prose(text).found:
        at = stretch.start
        while left:
            hits = [
                (hit.start(), -len(hit.group()), hit, term)
                for pattern, term in patterns.values()
                if term.id in left and (hit := pattern.search(text, at, stretch.end))
            ]
            if not hits:
                break
            _, _, hit, term = min(hits, key=lambda item: item[:2])
            pieces += [text[done : hit.start()], _link(hit.group(), term)]
            done = at = hit.end()
            left.remove(term.id)
    return "".join([*pieces, text[done:]])


def _either_case(form: str) -> str:
    """A form whose first letter may be a capital, as at the start of a sentence."""
    first = form[0]
    return f"[{first.lower()}{first.upper()}]{re.escape(form[1:])}" if first.islower() else re.escape(form)


def _link(shown: str, term: Definition) -> str:
    link = f'<a class="term" href="#term-{term.id}">{shown}</a>'
    return f"<abbr>{link}</abbr> ({escape(term.spelled_out)})" if term.spelled_out else link
