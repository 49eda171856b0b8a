"""The folder of a finished review, opened for reading: its numbers, its settings, its database."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Any

import duckdb

from handling_review.problems import OutputProblem

NUMBERS, MANIFEST, DATABASE = Path("tables") / "numbers.csv", Path("manifest.json"), Path("review.duckdb")


@dataclass(frozen=True)
class Published:
    """One line of numbers.csv. ``value`` is ``None`` where the quantity is not defined or not shown."""

    key: str
    value: float | None
    unit: str
    shown: str


class Output:
    """A review's output folder; use as a context manager. The database is opened when first asked, never written."""

    def __init__(self, folder: Path) -> None:
        """Raises ``OutputProblem`` where the folder holds no review, or its lists cannot be read."""
        self.folder = folder
        self.is_system = False  # a combined review: it holds no rows
        if not folder.is_dir():
            raise OutputProblem(f"{folder}: there is no such folder. Give the output folder of a review.")
        for needed in (MANIFEST, NUMBERS):
            if not (folder / needed).is_file():
                raise OutputProblem(
                    f"{folder}: this is no review, {needed} is missing. Give the folder that build or demo wrote."
                )
        self.manifest: Mapping[str, Any] = self._manifest()
        self.numbers: Mapping[str, Published] = self._numbers()
        self._con: duckdb.DuckDBPyConnection | None = None
        self._asked: dict[str, list[tuple[Any, ...]]] = {}
        self._tables: dict[str, list[dict[str, str]]] = {}

    def __enter__(self) -> Output:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._con is not None:
            self._con.close()

    def _manifest(self) -> Mapping[str, Any]:
        path = self.folder / MANIFEST
        try:
            found = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise OutputProblem(f"{path}: cannot be read ({error}). Build the review again.") from None
        if isinstance(found, dict) and isinstance(found.get("system"), str) and _lists_facilities(found.get("inputs")):
            self.is_system = True
            return found
        if not isinstance(found, dict) or not isinstance(found.get("settings"), dict) or "inputs" not in found:
            raise OutputProblem(f"{path}: this is not the manifest of a review. Build the review again.")
        return found

    def _numbers(self) -> Mapping[str, Published]:
        path = self.folder / NUMBERS
        try:
            with path.open(encoding="utf-8", newline="") as lines:
                found = [
                    Published(
                        row["key"],
                        float(row["value"]) if row["value"] else None,
                        plain(row["unit"]),
                        plain(row["shown"]),
                    )
                    for row in csv.DictReader(lines)
                ]
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise OutputProblem(
                f"{path}: cannot be read as the list of published numbers ({error}). Build the review again."
            ) from None
        return {number.key: number for number in found}

    def keys(self, start: str) -> list[str]:
        """The keys that begin with ``start``, which holds the whole first part of a key, in the order of the review."""
        return [key for key in self._by_head.get(start.split("/")[0], ()) if key.startswith(start)]

    @cached_property
    def _by_head(self) -> Mapping[str, Sequence[str]]:
        found: dict[str, list[str]] = {}
        for key in self.numbers:
            found.setdefault(key.split("/")[0], []).append(key)
        return found

    def table(self, name: str) -> list[dict[str, str]]:
        """Rows of one result table; empty where there is none."""
        if name not in self._tables:
            path = self.folder / "tables" / f"{name}.csv"
            rows: list[dict[str, str]] = []
            if path.is_file():
                with path.open(encoding="utf-8", newline="") as lines:
                    rows = [{key: plain(value or "") for key, value in row.items()} for row in csv.DictReader(lines)]
            self._tables[name] = rows
        return self._tables[name]

    @cached_property
    def findings(self) -> list[dict[str, str]]:
        """Rows of findings.csv."""
        path = self.folder / "findings.csv"
        if not path.is_file():
            return []
        with path.open(encoding="utf-8", newline="") as lines:
            return list(csv.DictReader(lines))

    def setting(self, path: str) -> Any:
        """A value of the program file by its path, such as ``training.washout_days`` or ``proposals.1.quantity``."""
        found: Any = self.manifest["settings"]
        for part in path.split("."):
            if isinstance(found, Sequence) and not isinstance(found, str):
                found = found[int(part) - 1]
            else:
                found = found.get(part) if isinstance(found, Mapping) else None
        return found

    def file_name(self, kind: str, number: int) -> str:
        """The name of the file that was read as number ``number`` (from 1) of its kind."""
        names = [str(one["name"]) for one in self.manifest["inputs"] if one["file"] == kind]
        return names[number - 1] if 0 < number <= len(names) else kind

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        """Rows of a query of this package, asked once. Raises ``OutputProblem`` where the database cannot answer."""
        if sql not in self._asked:
            self._asked[sql] = self._fetched(sql)
        return self._asked[sql]

    def _fetched(self, sql: str) -> list[tuple[Any, ...]]:
        try:
            return self._connection().execute(sql).fetchall()
        except duckdb.CatalogException as error:
            raise OutputProblem(
                f"{self.folder / DATABASE}: it lacks a table that trace reads ({_first_line(error)}). The review was "
                "built by another version of this program; build it again."
            ) from None
        except duckdb.IOException as error:
            raise OutputProblem(f"{self.folder / DATABASE}: cannot be read ({_first_line(error)}).") from None

    def scalar(self, sql: str) -> Any:
        """The first value of a query; ``None`` where there is no row."""
        found = self.rows(sql)
        return found[0][0] if found else None

    def frame(self, table: str) -> Any:
        """A table of the database as a pandas frame."""
        self.scalar(f'SELECT count(*) FROM "{table}"')
        return self._connection().sql(f'SELECT * FROM "{table}"').df()

    def _connection(self) -> duckdb.DuckDBPyConnection:
        if self._con is None:
            self._con = self._opened()
        return self._con

    def _opened(self) -> duckdb.DuckDBPyConnection:
        path = self.folder / DATABASE
        if not path.is_file():
            raise OutputProblem(
                f"{path}: the database is missing, so no row can be named. A shared copy of a review has none; ask "
                "whoever built the review, or build it again."
            )
        try:
            con = duckdb.connect(
                str(path),
                read_only=True,
                config={"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"},
            )
            con.execute("SET enable_progress_bar = false")
            con.execute("SET enable_external_access = false")
            con.execute("SET lock_configuration = true")
        except duckdb.Error as error:
            raise OutputProblem(
                f"{path}: the database cannot be opened ({_first_line(error)}). It is readable by whoever built the "
                "review alone; if that is you, build the review again."
            ) from None
        return con


def _lists_facilities(inputs: Any) -> bool:
    return isinstance(inputs, list) and all(isinstance(one, dict) and "facility" in one for one in inputs)


def plain(text: str) -> str:
    """A cell of a result table without the apostrophe that keeps a spreadsheet from running it."""
    return text[1:] if text[:1] == "'" and text[1:2] in tuple("=+-@\t\r\n|＝＋－＠") else text


def _first_line(error: Exception) -> str:
    return str(error).splitlines()[0] if str(error) else type(error).__name__
