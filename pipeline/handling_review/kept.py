"""What is kept in the database besides rows, so that a review can be worked out again from its folder alone."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

import duckdb
import pandas as pd

from handling_review.history.program_back import of_kind, program_from
from handling_review.manifest import Record
from handling_review.problems import DataProblem
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
    if record.engine:
        parts["engine"] = record.engine
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
            days=of_kind(ReviewDays, parts["days"]),
            tables=tables,
            versions=of_kind(Mapping[str, str], parts["versions"]),
            seeds=parts["random_seeds"],
            tool_sha256=parts["tool_sha256"],
            engine=str(parts.get("engine", "")),
        )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise DataProblem(f"{database.name}: its record of settings and days cannot be read ({error}).") from None


def _kind(column: pd.Series) -> str:
    if pd.api.types.is_bool_dtype(column):
        return "BOOLEAN"
    if pd.api.types.is_integer_dtype(column):
        return "BIGINT"
    return "DOUBLE" if pd.api.types.is_float_dtype(column) else "VARCHAR"
