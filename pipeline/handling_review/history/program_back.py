"""The settings of an earlier review as a program again."""

from __future__ import annotations

import types
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from pathlib import Path
from typing import Any, Union, get_args, get_origin, get_type_hints

from handling_review.problems import OutputProblem
from handling_review.program import Program


def program_of(plain: Mapping[str, Any], settings_hash: str) -> Program:
    """The program whose ``settings()`` these are; ``settings_hash`` is what they hashed to when the review was built.

    Raises ``OutputProblem`` where the settings are not those of this version or were altered.
    """
    try:
        program = program_from(plain)
    except (KeyError, TypeError, ValueError, AttributeError):
        raise OutputProblem(
            "The settings kept with that review are not whole, or are those of another version."
        ) from None
    if program.settings_hash() != settings_hash:
        raise OutputProblem("The settings kept with that review are not the ones that it was built with.")
    return program


def program_from(settings: Mapping[str, Any]) -> Program:
    """A program from its settings as plain values. Files have their names and no place.

    Raises ``ValueError``, ``KeyError`` or ``TypeError`` where the settings are not those of this version.
    """
    found: Program = of_kind(Program, {**settings, "path": "program.toml"})
    return found


def of_kind(kind: Any, plain: Any) -> Any:
    """A plain value of JSON as the kind that a field of the settings declares."""
    if is_dataclass(kind) and isinstance(kind, type):
        hints = get_type_hints(kind)
        unknown = set(plain) - {one.name for one in fields(kind)}
        if unknown:
            raise ValueError(f"unknown setting {sorted(unknown)[0]}")
        return kind(**{name: of_kind(hints[name], value) for name, value in plain.items()})
    origin, inner = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return None if plain is None else of_kind(next(one for one in inner if one is not type(None)), plain)
    if origin is tuple:
        return tuple(of_kind(inner[0], one) for one in plain)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {key: of_kind(inner[1], value) for key, value in plain.items()}
    if kind is date:
        return date.fromisoformat(plain)
    return kind(plain) if kind in (Path, float) else plain
