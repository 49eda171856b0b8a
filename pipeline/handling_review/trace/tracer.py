"""One key to its explanation."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from handling_review.problems import ReviewProblem
from handling_review.trace.family import Built, Family, Groups
from handling_review.trace.formula import Formula, Input
from handling_review.trace.methods import METHODS, Method
from handling_review.trace.output import Output, Published
from handling_review.trace.scope import SERIES_WORDS, Places, Scope
from handling_review.trace.selection import Selection

if TYPE_CHECKING:
    from handling_review.evidence.strata_table import Strata
    from handling_review.trace.sides import Cells

MOST_SELECTIONS = 8  # more sets of rows than that are left to the inputs' own traces


@dataclass(frozen=True)
class Explanation:
    """Where one published number comes from.

    Attributes:
        number: as published. words: what it is.
        formula: ``None`` where there is no one-line formula. method: ``None`` where the formula says it all.
        selections: the rows behind it, its own or those of its inputs; ``left_to_inputs`` where these are too many.
        scopes: place and time of the rows, for the rules that took rows out.
        rules: names of definitions. settings: path and value. notes: more sentences.
    """

    number: Published
    words: str
    formula: Formula | None
    method: Method | None
    selections: tuple[Selection, ...]
    left_to_inputs: bool
    scopes: tuple[Scope, ...]
    rules: tuple[str, ...]
    settings: tuple[tuple[str, object], ...]
    notes: tuple[str, ...]


class Tracer:
    """Explains the numbers of one review."""

    def __init__(self, output: Output) -> None:
        self.output = output
        self._families: dict[str, tuple[Family, dict[str, str]]] = {}
        self._cells: dict[tuple[str, tuple[str, ...]], Cells] = {}

    @cached_property
    def places(self) -> Places:
        """Reads the places of the review."""
        return Places(self.output)

    @cached_property
    def series(self) -> str:
        """The primary series of the program file."""
        return str(self.output.setting("analysis.series"))

    @cached_property
    def strata(self) -> Strata:
        """The strata with each unit's start, as the designs take them."""
        from types import SimpleNamespace

        from handling_review.evidence.strata_table import Strata

        tables = SimpleNamespace(**{name: self.output.frame(f"out_{name}") for name in ("quarters", "strata", "units")})
        return Strata(tables, self.places.complete)  # type: ignore[arg-type]  # it reads these three tables alone

    def cells(self, series: str, where: tuple[str, ...] = ()) -> Cells:
        """Units and quarters by the unit's own start, worked out once."""
        from handling_review.trace.sides import Cells

        asked = (series, where)
        if asked not in self._cells:
            self._cells[asked] = Cells(self, series, where)
        return self._cells[asked]

    def family_of(self, key: str) -> tuple[Family, dict[str, str]]:
        """The family of a key and the parts of the key. Raises ``ReviewProblem`` for a family nobody described."""
        if key in self._families:
            return self._families[key]
        from handling_review.trace.families import BY_HEAD

        for family in BY_HEAD.get(key.split("/")[0], ()):
            parts = family.match(key)
            if parts is not None and ("place" not in parts or self.places.of(parts["place"]) is not None):
                self._families[key] = family, parts
                return family, parts
        raise ReviewProblem(f"{key}: no family of numbers describes this key.")

    def scope(self, place: str) -> Scope:
        """Place and time of a key's middle. Raises ``ReviewProblem`` where it cannot be read."""
        found = self.places.of(place)
        if found is None:
            raise ReviewProblem(f"{place}: not a place of this review.")
        return found

    def value(self, key: str) -> float:
        """The value of a published number; ``nan`` where it is not defined."""
        found = self.output.numbers[key].value
        return math.nan if found is None else found

    def known(self, key: str) -> bool:
        """Whether a number is published."""
        return key in self.output.numbers

    def input(self, name: str, source: str) -> Input:
        """An input by its key, ``@setting`` or ``SQL query``."""
        if source.startswith("@"):
            value = self.output.setting(source[1:])
            return Input(name, math.nan if value is None else float(value), source=f"program file, {source[1:]}")
        if source.startswith("SQL "):
            value = self.output.scalar(source[4:])
            return Input(name, math.nan if value is None else float(value), source=f"query: {source[4:]}")
        number = self.output.numbers.get(source)
        if number is None:
            raise ReviewProblem(f"{source}: this number is not published, but another is worked out from it.")
        return Input(name, self.value(source), number.unit, key=source)

    def formula(self, expression: str, inputs: Mapping[str, str], sense: str = "") -> Formula:
        """A formula with its inputs looked up."""
        return Formula(expression, tuple(self.input(name, source) for name, source in inputs.items()), sense)

    def explain(self, key: str) -> Explanation:
        """The explanation of a published number. Raises ``KeyError`` for a key that is not published."""
        number = self.output.numbers[key]
        family, parts = self.family_of(key)
        built = family.build(self, parts) if family.build else Built()
        formula = built.formula
        if formula is None and (family.formula or family.inputs):
            inputs = {name: source.format(**parts) for name, source in family.inputs.items()}
            formula = self.formula(family.formula, inputs, family.sense)
        selections = self._selections(key, formula, 3)
        scope = self._scope(parts)
        method = built.method or family.method
        return Explanation(
            number=number,
            words=self._words(built.words or family.words, parts, scope),
            formula=formula,
            method=METHODS[method] if method else None,
            selections=selections[:MOST_SELECTIONS] if len(selections) <= MOST_SELECTIONS else (),
            left_to_inputs=len(selections) > MOST_SELECTIONS,
            scopes=(scope,) if scope else (),
            rules=tuple(dict.fromkeys((*built.rules, *(scope.rules if scope and not key.startswith("wait") else ())))),
            settings=tuple((path, self.output.setting(path)) for path in family.settings),
            notes=built.notes,
        )

    def own_rows(self, key: str) -> tuple[Selection, ...]:
        """The rows that a number counts or adds up itself; empty where it is worked out from other numbers."""
        family, parts = self.family_of(key)
        if family.rows:
            return family.rows(self, parts)
        return family.build(self, parts).selections if family.build else ()

    def _selections(self, key: str, formula: Formula | None, depth: int) -> tuple[Selection, ...]:
        own = self.own_rows(key)
        if own or not depth:
            return own
        if formula is None:
            family, parts = self.family_of(key)
            built = family.build(self, parts) if family.build else Built()
            formula = built.formula
            if formula is None and family.inputs:
                sources = {name: source.format(**parts) for name, source in family.inputs.items()}
                formula = self.formula(family.formula or "0", sources)
        found: dict[Selection, None] = {}
        for one in formula.inputs if formula else ():
            if one.key:
                found.update(dict.fromkeys(self._selections(one.key, None, depth - 1)))
        return tuple(found)

    def _scope(self, parts: Groups) -> Scope | None:
        for name in ("place", "unit"):
            if parts.get(name):
                return self.places.of(parts[name]) or self.places.unit(parts[name])
        return None

    def _words(self, words: str, parts: Groups, scope: Scope | None) -> str:
        filled = {
            **parts,
            "where": scope.words if scope else "whole facility",
            "what": SERIES_WORDS.get(parts.get("series", self.series), ""),
            "primary": SERIES_WORDS.get(self.series, ""),
        }
        return words.format(**filled)
