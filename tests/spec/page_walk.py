"""A finished page read piece by piece: each text with the elements around it and the key of its number, if any."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

VOID = {"meta", "br", "hr", "img", "input", "link", "col", "area", "base", "wbr", "source", "track", "embed"}
# Elements that hold one piece of prose or one label each; the text of the page falls apart into these.
BLOCKS = {"p", "li", "dd", "dt", "figcaption", "caption", "td", "th", "h1", "h2", "h3", "summary", "title", "option"}


@dataclass
class Piece:
    """One stretch of text inside one element."""

    text: str
    key: str | None = None
    value: str | None = None
    term: str | None = None  # the term that an element around this text explains or links


@dataclass
class Block:
    """One paragraph, list item, cell or heading: its pieces in order, its element and the classes around it."""

    tag: str
    classes: tuple[str, ...]
    inside: tuple[str, ...]
    pieces: list[Piece] = field(default_factory=list)

    @property
    def text(self) -> str:
        return " ".join("".join(piece.text for piece in self.pieces).split())

    @property
    def unkeyed(self) -> str:
        """The text with each keyed number taken out."""
        return " ".join("".join(p.text if p.key is None else " " for p in self.pieces).split())

    @property
    def is_cell(self) -> bool:
        return self.tag in ("td", "th")


class Walk(HTMLParser):
    """The blocks of a page in reading order, its data scripts by id, and every element with its attributes."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.blocks: list[Block] = []
        self.scripts: dict[str, str] = {}
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._open: list[tuple[str, dict[str, str | None]]] = []
        self._stack: list[Block] = []
        self.feed(text)
        self.close()
        assert self._open == [], "an element is never closed"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self.tags.append((tag, values))
        if tag in VOID:
            return
        self._open.append((tag, values))
        if tag in BLOCKS:
            around = tuple(
                name for _, other in self._open[:-1] for name in (other.get("class") or "").split() if name
            ) + tuple(other.get("id") or "" for _, other in self._open[:-1] if other.get("id"))
            block = Block(tag, tuple((values.get("class") or "").split()), around)
            self.blocks.append(block)
            self._stack.append(block)
        if "data-key" in values and self._stack:
            self._stack[-1].pieces.append(Piece("", values["data-key"] or "", values.get("value")))

    def handle_endtag(self, tag: str) -> None:
        name, _ = self._open.pop()
        assert name == tag
        if tag in BLOCKS:
            self._stack.pop()

    def handle_data(self, data: str) -> None:
        if self._open and self._open[-1][0] in ("script", "style"):
            found = self._open[-1][1].get("id")
            if found:
                self.scripts[found] = self.scripts.get(found, "") + data
            return
        if not self._stack:
            return
        pieces = self._stack[-1].pieces
        keyed = any("data-key" in values for _, values in self._open)
        if keyed:
            pieces[-1].text += data
            return
        term = next((v.get("href") for t, v in reversed(self._open) if v.get("class") == "term"), None)
        pieces.append(Piece(data, term=term))

    def prose(self) -> Iterator[Block]:
        """What is read as sentences or headings: everything but cells and what a picker offers."""
        for block in self.blocks:
            if not block.is_cell and block.tag != "option" and block.text:
                yield block

    def figures(self) -> dict[str, Any]:
        """The pictures' data by id."""
        return {
            name.removeprefix("data-"): json.loads(text)
            for name, text in self.scripts.items()
            if name.startswith("data-")
        }
