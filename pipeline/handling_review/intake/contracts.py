"""Contracts: one Table Schema file each, and all that is made from it.

The open Table Schema standard (Data Package 2.0) is the only place where a column is described. From it come the
pandera schema that values are judged by, the DuckDB column types, the blank CSV file and the data dictionary.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from handling_review import files
from handling_review.problems import ReviewProblem

TYPES = {"string": "VARCHAR", "date": "DATE", "integer": "BIGINT", "number": "DECIMAL(18,4)", "boolean": "BOOLEAN"}
_SCHEMA_KEYS = {
    "$schema", "name", "title", "description", "missingValues", "fields", "primaryKey", "columnGroups",
}  # fmt: skip
_FIELD_KEYS = {
    "name", "title", "type", "format", "description", "unit", "example", "personal", "synonyms", "constraints",
    "headers", "trueValues", "falseValues", "missingValues",
}  # fmt: skip
_CONSTRAINTS = {"required", "unique", "minimum", "maximum", "maxLength", "pattern", "enum"}


@dataclass(frozen=True)
class Field:
    """One column: what it means and what its values must satisfy.

    ``headers``: what other systems often call it; used to propose a mapping, never to read a file.
    """

    name: str
    title: str
    type: str
    description: str
    unit: str
    example: str
    personal: bool = False
    required: bool = False
    unique: bool = False
    minimum: str | None = None
    maximum: str | None = None
    max_length: int | None = None
    pattern: str | None = None
    enum: tuple[str, ...] = ()
    synonyms: tuple[tuple[str, str], ...] = ()
    headers: tuple[str, ...] = ()
    true_values: tuple[str, ...] = ()
    false_values: tuple[str, ...] = ()
    missing_values: tuple[str, ...] = ("",)

    @property
    def duckdb_type(self) -> str:
        """Column type in the store."""
        return TYPES[self.type]

    def rules(self) -> str:
        """The constraints as one readable line."""
        said = ["required"] if self.required else []
        if self.unique:
            said.append("no value twice")
        if self.minimum is not None or self.maximum is not None:
            said.append(f"from {_plain(self.minimum)} to {_plain(self.maximum)}")
        if self.max_length is not None:
            said.append(f"at most {self.max_length} characters")
        if self.pattern:
            said.append(f"written like {self.example}")
        if self.enum:
            said.append("one of " + ", ".join(self.enum))
        return "; ".join(said)


def _plain(bound: str | None) -> str:
    return "any" if bound is None else bound


@dataclass(frozen=True)
class Contract:
    """One file: its columns in order, its key, and groups of columns of which one must be there."""

    name: str
    title: str
    description: str
    fields: tuple[Field, ...]
    primary_key: tuple[str, ...] = ()
    column_groups: tuple[tuple[str, ...], ...] = ()

    def field(self, name: str) -> Field:
        """The column called ``name``; raises ``KeyError`` if the contract has none."""
        for one in self.fields:
            if one.name == name:
                return one
        raise KeyError(name)

    def is_vital(self, name: str) -> bool:
        """Whether a row is worthless without a valid value here: required, or one of the columns of a group.

        A bad value elsewhere is dropped and the row stays, since losing a case over a side detail would lower a rate.
        """
        return self.field(name).required or any(name in group for group in self.column_groups)

    @property
    def names(self) -> tuple[str, ...]:
        """Column names in order."""
        return tuple(f.name for f in self.fields)

    def missing_columns(self, present: Iterable[str]) -> list[str]:
        """Required columns that are not among ``present``; for a group, its first alternative."""
        have = set(present)
        missing = [f.name for f in self.fields if f.required and f.name not in have]
        if self.column_groups and not any(set(group) <= have for group in self.column_groups):
            missing.extend(name for name in self.column_groups[0] if name not in have)
        return missing

    def blank_csv(self) -> str:
        """A file with the header line only."""
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerow(self.names)
        return out.getvalue()


def names() -> list[str]:
    """Names of all contracts that are shipped."""
    return [name.removesuffix(".json") for name in files.names("schemas", ".json")]


@cache
def contract(name: str) -> Contract:
    """The contract of one file, for example ``contract("hours")``."""
    return parse(name, json.loads(files.read_text("schemas", f"{name}.json")))


def parse(name: str, raw: Mapping[str, Any]) -> Contract:
    """Build a contract from Table Schema content.

    Raises ``ReviewProblem`` that names the key or constraint which this reader does not know: a rule that nobody
    applies is worse than none.
    """
    _refuse_unknown(f"schemas/{name}.json", "key", raw, _SCHEMA_KEYS)
    missing = tuple(raw.get("missingValues", [""]))
    fields = tuple(_field(name, f, missing) for f in raw["fields"])
    listed = [f.name for f in fields]
    if len(set(listed)) != len(listed):
        raise ReviewProblem(f"schemas/{name}.json: a column name stands twice.")
    return Contract(
        name=raw["name"],
        title=raw["title"],
        description=raw["description"],
        fields=fields,
        primary_key=tuple(raw.get("primaryKey", [])),
        column_groups=tuple(tuple(group) for group in raw.get("columnGroups", [])),
    )


def _field(name: str, raw: Mapping[str, Any], missing: tuple[str, ...]) -> Field:
    where = f"schemas/{name}.json, column {raw.get('name', '?')}"
    _refuse_unknown(where, "key", raw, _FIELD_KEYS)
    rules = raw.get("constraints", {})
    _refuse_unknown(where, "constraint", rules, _CONSTRAINTS)
    for key in ("name", "title", "type", "description", "unit", "example"):
        if key not in raw:
            raise ReviewProblem(f"{where}: {key!r} is missing.")
    if raw["type"] not in TYPES:
        raise ReviewProblem(f"{where}: unknown type {raw['type']!r}. Known: {', '.join(TYPES)}.")
    return Field(
        name=raw["name"],
        title=raw["title"],
        type=raw["type"],
        description=raw["description"],
        unit=raw["unit"],
        example=raw["example"],
        personal=raw.get("personal", False),
        required=rules.get("required", False),
        unique=rules.get("unique", False),
        minimum=_text(rules.get("minimum")),
        maximum=_text(rules.get("maximum")),
        max_length=rules.get("maxLength"),
        pattern=rules.get("pattern"),
        enum=tuple(str(v) for v in rules.get("enum", [])),
        synonyms=tuple(raw.get("synonyms", {}).items()),
        headers=tuple(raw.get("headers", [])),
        true_values=tuple(raw.get("trueValues", [])),
        false_values=tuple(raw.get("falseValues", [])),
        missing_values=tuple(raw.get("missingValues", missing)),
    )


def _text(value: object) -> str | None:
    return None if value is None else str(value)


def _refuse_unknown(where: str, what: str, given: Mapping[str, Any], known: set[str]) -> None:
    for key in given:
        if key not in known:
            raise ReviewProblem(f"{where}: unknown {what} {key!r}. Known: {', '.join(sorted(known))}.")


def dictionary() -> str:
    """The data dictionary of all files as Markdown: required files first."""
    order = ["incidents", "hours", "training"]
    order += [name for name in names() if name not in order]
    lines = [
        "# Data dictionary",
        "",
        "What each file holds and what each value must satisfy. A facility's own column names, codes and date order",
        "are mapped onto these in the program file.",
    ]
    for name in order:
        one = contract(name)
        need = "required" if name in order[:3] else "optional"
        lines += ["", f"## {name}.csv ({need})", "", one.description, ""]
        lines += ["| column | title | type | unit | example | rules | meaning |", "|---|---|---|---|---|---|---|"]
        for f in one.fields:
            cells = (f.name, f.title, f.type, f.unit, f.example, f.rules(), f.description)
            lines.append("| " + " | ".join(c.replace("|", "\\|") for c in cells) + " |")
        if one.column_groups:
            groups = " or ".join(" and ".join(group) for group in one.column_groups)
            lines += ["", f"Needed besides: {groups}."]
    return "\n".join(lines) + "\n"
