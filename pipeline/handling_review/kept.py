"""What is kept in the database besides rows, so that a review can be worked out again from its folder alone."""

from __future__ import annotations

import json
import types
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from pathlib import Path
from typing import Any, Union, get_args, get_origin, get_type_hints

import duckdb
import pandas as pd

from handling_review.manifest import Record
from handling_review.problems import DataProblem
from handling_review.program import Program
from handling_review.store.database import Store
from handling_review.store.measure import RESULTS
from handling_review.store.settle import ReviewDays

FRAMES = ("accounting", "findings", "inputs")  # made by the reader; everything else follows from the rows


def keep(store: Store, record: Record) -> None:
    """Store settings, days, versions, seeds, and the frames that do not follow from the rows."""
    parts = {
        "settings": record.program.settings(),
        "days": dict(vars(record.days)),
        "versions": record.versions,
        "random_seeds": record.seeds,
        "tool_sha256": record.tool_sha256,
    }
    texts = [(part, json.dumps(plain, default=str, ensure_ascii=False)) for part, plain in parts.items()]
    store.fill("kept_record", [("part", "VARCHAR"), ("text", "VARCHAR")], texts)
    for name in FRAMES:
        frame = record.tables[name]
        columns = [(str(column), _kind(frame[column])) for column in frame.columns]
        store.fill(f"kept_{name}", columns, frame.itertuples(index=False, name=None))


def restore(database: Path) -> Record:
    """The record and the result tables as a database holds them.

    Raises ``DataProblem`` where it cannot be read, or holds no record of a review.
    """
    config: dict[str, str | bool | int | float | list[str]] = {
        "enable_external_access": "false",
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
    }
    names = {name: f"kept_{name}" for name in FRAMES} | {name.removeprefix("out_"): name for name in RESULTS}
    try:
        with duckdb.connect(str(database), read_only=True, config=config) as stored:
            texts = dict(stored.sql("SELECT part, text FROM kept_record").fetchall())
            tables = {name: stored.sql(f'SELECT * FROM "{table}"').df() for name, table in names.items()}
    except duckdb.Error as error:
        raise DataProblem(f"{database.name}: cannot be read ({str(error).splitlines()[0]}).") from None
    try:
        parts = {part: json.loads(text) for part, text in texts.items()}
        return Record(
            program=program_from(parts["settings"]),
            days=_of_kind(ReviewDays, parts["days"]),
            tables=tables,
            versions=_of_kind(Mapping[str, str], parts["versions"]),
            seeds=parts["random_seeds"],
            tool_sha256=parts["tool_sha256"],
        )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise DataProblem(f"{database.name}: its record of settings and days cannot be read ({error}).") from None


def program_from(settings: Mapping[str, Any]) -> Program:
    """A program from its settings as plain values. Files have their names and no place.

    Raises ``ValueError``, ``KeyError`` or ``TypeError`` where the settings are not those of this version.
    """
    found: Program = _of_kind(Program, {**settings, "path": "program.toml"})
    return found


def _of_kind(kind: Any, plain: Any) -> Any:
    """A plain value of JSON as the kind that a field of the settings declares."""
    if is_dataclass(kind) and isinstance(kind, type):
        hints = get_type_hints(kind)
        unknown = set(plain) - {one.name for one in fields(kind)}
        if unknown:
            raise ValueError(f"unknown setting {sorted(unknown)[0]}")
        return kind(**{name: _of_kind(hints[name], value) for name, value in plain.items()})
    origin, inner = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return None if plain is None else _of_kind(next(one for one in inner if one is not type(None)), plain)
    if origin is tuple:
        return tuple(_of_kind(inner[0], one) for one in plain)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {key: _of_kind(inner[1], value) for key, value in plain.items()}
    if kind is date:
        return date.fromisoformat(plain)
    return kind(plain) if kind in (Path, float) else plain


def _kind(column: pd.Series) -> str:
    if pd.api.types.is_bool_dtype(column):
        return "BOOLEAN"
    if pd.api.types.is_integer_dtype(column):
        return "BIGINT"
    return "DOUBLE" if pd.api.types.is_float_dtype(column) else "VARCHAR"
