"""Families of keys: which numbers a pattern stands for, in words, with formula, rows and method."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from handling_review.trace.formula import Formula
from handling_review.trace.scope import QUARTER, SERIES, YEAR
from handling_review.trace.selection import Selection

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer

Groups = Mapping[str, str]
_PARTS = {
    "place": r"(?:facility|unit:[^/]+|group:[^/]+)(?:/[^/]+)*?",
    "series": SERIES,
    "q": QUARTER,
    "year": YEAR,
    "unit": r"unit:[^/]+",
    "month": r"\d{4}-\d\d",
    "n": r"\d+",
    "rate": r"\d+",
    "limit": "lower|upper",
    "pair": r"facility/(?:(?:FY)?\d{4}-Q[1-4]/\w+|before_after|unclassified_\w+)",
    "rest": r".+",
}


@dataclass(frozen=True)
class Built:
    """What a family works out for one key, beyond what its table row says."""

    formula: Formula | None = None
    selections: tuple[Selection, ...] = ()
    words: str = ""
    method: str = ""
    notes: tuple[str, ...] = ()
    rules: tuple[str, ...] = ()


Rows = Callable[["Tracer", Groups], tuple[Selection, ...]]
Builder = Callable[["Tracer", Groups], Built]


@dataclass(frozen=True)
class Family:
    """One row of the table of families.

    Attributes:
        pattern: of the keys; ``{name}`` stands for a part of one.
        words: what the number is; may hold the parts, ``{where}`` (place and time) and ``{what}`` (series).
        formula: an expression over ``inputs``; "" if there is none or ``build`` makes it.
        inputs: name to the key of another number, ``@`` and a setting's path, or ``SQL `` and a query.
        rows: gives the rows behind the number; without it they are those of its inputs.
        method: a name in ``METHODS``; "" where the formula says it all.
        settings: paths of settings that bear on it.
        build: makes what no table row can say.
        sense: one sentence on the formula.
    """

    pattern: str
    words: str
    formula: str = ""
    inputs: Mapping[str, str] = field(default_factory=dict)
    rows: Rows | None = None
    method: str = ""
    settings: tuple[str, ...] = ()
    build: Builder | None = None
    sense: str = ""

    @cached_property
    def _regex(self) -> re.Pattern[str]:
        parts = re.split(r"\{(\w+)\}", self.pattern)
        text = "".join(
            re.escape(part) if i % 2 == 0 else f"(?P<{part}>{_PARTS.get(part, '[^/]+')})"
            for i, part in enumerate(parts)
        )
        return re.compile(text)

    def match(self, key: str) -> dict[str, str] | None:
        """The parts of a key of this family; ``None`` for others."""
        found = self._regex.fullmatch(key)
        return None if found is None else found.groupdict()
