"""Text from files and settings as it may be shown: no sign that cannot be seen, none that turns its neighbours about.

Escaping belongs to each place (the page, a picture, a spreadsheet); this is what all of them need beforehand.
"""

from __future__ import annotations

import re
import unicodedata

# Inside a character class: zero-width signs, marks and overrides of direction, byte order marks, fillers, tags, and
# control codes that are no space. Unicode 16, chapter 23; overrides can make text read otherwise than it is (Unicode
# Technical Report 36, section 2.5).
DIRECTION = "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"
TAGS = "\U000e0000-\U000e0fff"
CONTROLS = "\x00-\x08\x0e-\x1b\x7f-\x84\x86-\x9f"
UNSEEN = (
    f"{DIRECTION}{TAGS}{CONTROLS}\u00ad\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b-\u200d\u2060-\u2065\u206a-\u206f"
    "\u3164\ufeff\uffa0\ufff9-\ufffb"
)
_ISOLATE, _END, _MAY_BREAK = "\u2068", "\u2069", "\u200b"
_GONE = re.compile(f"[{UNSEEN}\ud800-\udfff]")
_NOT_ON_PAGE = re.compile(f"(?![{_ISOLATE}{_END}{_MAY_BREAK}])[{UNSEEN}\ud800-\udfff]")
_BREAKS = re.compile("[\x0b\x0c\x1c-\x1f\x85\u2028\u2029]")
_ESCAPES = re.compile(
    "(?:\x1b\\[|\x9b)[0-?]*[ -/]*[@-~]"  # a command to a terminal, as for colours
    "|(?:\x1b[\\]PX^_]|[\x90\x98\x9d-\x9f])[^\x07\x1b\x9c]{0,500}(?:\x07|\x1b\\\\|\x9c)"  # and a title for it
)
_LONG = re.compile(r"\S{80,}")
_MOST_MARKS = 4  # marks on one letter; written languages need no more, and towers of them cover the lines above
_PIECE = 40


def printable(text: str) -> str:
    """The text without escape sequences, control codes and signs that cannot be seen; tabs and line ends stay."""
    if text.isascii() and text.isprintable():
        return text
    return _without_towers(_BREAKS.sub(" ", _GONE.sub("", _ESCAPES.sub("", text))))


def readable(text: str) -> str:
    """The text for a page: printable, long runs without a space may break, right-to-left text keeps to itself.

    The two signs that do this (first-strong isolate, zero-width space) are dropped again by ``printable``.
    """
    if text.isascii() and text.isprintable() and not _LONG.search(text):
        return text
    plain = _LONG.sub(_broken, printable(text))
    if any(unicodedata.bidirectional(char) in ("R", "AL", "AN") for char in plain):
        return f"{_ISOLATE}{plain}{_END}"
    return plain


def of_page(text: str) -> str:
    """A finished page without any sign that cannot be seen but those of ``readable``, whatever put it there."""
    return "\n".join(
        line if line.isascii() and line.isprintable() else _NOT_ON_PAGE.sub("", line) for line in text.split("\n")
    )


def short(text: str, most: int) -> str:
    """The text, or its start with an ellipsis: about ``most`` letters wide, no letter parted from its marks."""
    plain = printable(text)
    if _wide(plain) <= most:
        return readable(plain)
    return readable(_start(plain, most - 1).rstrip() + "…")


def lines(text: str, width: int, most: int) -> list[str]:
    """The text over up to ``most`` lines, each about ``width`` letters wide; an ellipsis ends what does not fit."""
    found: list[str] = []
    rest = " ".join(printable(text).split())
    while rest and len(found) < most:
        part = rest if _wide(rest) <= width else _start(rest, width)
        at = part.rfind(" ") if len(part) < len(rest) and rest[len(part)] != " " else -1
        line = part[:at] if at > 0 else part
        rest = rest[len(line) :].strip()
        found.append(line)
    if rest:
        found[-1] = _start(found[-1], width - 1).rstrip() + "…"
    return [readable(line) for line in found]


def _wide(text: str) -> float:
    return sum(_width(char) for char in text)


def _width(char: str) -> float:
    """About how wide a sign is, in letters of a text in mixed case."""
    if unicodedata.category(char) in ("Mn", "Me"):
        return 0.0
    if unicodedata.east_asian_width(char) in "WF" or char in "WM@%":
        return 1.7
    return 1.25 if char.isupper() or char in "mw_=+<>" else 1.0


def _start(text: str, width: float) -> str:
    """As much of the text as fits; at least its first sign."""
    used, at = 0.0, 0
    while at < len(text) and (at == 0 or used + _width(text[at]) <= width):
        used += _width(text[at])
        at += 1
    while at < len(text) and unicodedata.category(text[at]) in ("Mn", "Me"):
        at += 1
    return text[:at]


def _broken(run: re.Match[str]) -> str:
    text = run[0]
    return _MAY_BREAK.join(text[at : at + _PIECE] for at in range(0, len(text), _PIECE))


def _without_towers(text: str) -> str:
    kept: list[str] = []
    marks = 0
    for char in text:
        marks = marks + 1 if unicodedata.category(char) in ("Mn", "Me") else 0
        if marks <= _MOST_MARKS:
            kept.append(char)
    return "".join(kept)
