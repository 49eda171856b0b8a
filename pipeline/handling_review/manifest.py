"""The manifest of a review: what went in, by which settings and software, and the hash of everything that came out.

The version of Python is not in it, nor in any other file: it must not matter. Nothing in the manifest can prove itself;
whoever can write it can forge it. Its own SHA-256 is therefore printed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd

from handling_review import __version__, files
from handling_review.evidence.tables import Scope
from handling_review.program import Program
from handling_review.store.settle import ReviewDays
from handling_review.visible import readable

NAME = "manifest.json"
LIBRARIES = (
    *("duckdb", "jinja2", "numpy", "pandas", "pandera", "plotly", "polars", "pyarrow", "scipy", "statsmodels"),
)
SEEDED = (  # every module that draws random numbers for a published one, always from the same seed
    *("evidence.costs", "evidence.watch", "evidence.who"),
    *("stats.money", "stats.nowcast", "stats.proposals", "stats.severity", "stats.worth"),
)


@dataclass(frozen=True)
class Record:
    """What a review rests on besides its result tables.

    ``tables``: frames by name; accounting, findings and inputs among them. ``tool_sha256`` stands for the code, the SQL
    and the templates; ``engine``: what added up person-time where that was not DuckDB, with its version.
    """

    program: Program
    days: ReviewDays
    tables: Mapping[str, pd.DataFrame]
    versions: Mapping[str, str]
    seeds: Mapping[str, int]
    tool_sha256: str
    engine: str = ""

    @property
    def run_id(self) -> str:
        """Twelve digits that stand for these inputs, settings, days and this version of the tool."""
        parts = [self.program.settings_hash(), str(self.days), self.versions["handling-review"]]
        inputs = self.tables["inputs"]
        parts += [f"{file} {digest}" for file, digest in zip(inputs["file"], inputs["sha256"], strict=True)]
        return hashlib.sha256("\n".join(parts).encode("utf-8")).hexdigest()[:12]

    def scope(self) -> Scope:
        """What the page says about itself."""
        program, days = self.program, self.days
        return Scope(
            facility_name=readable(program.facility.name),
            facility_naics=program.facility.naics,
            facility_note=readable(program.facility.note),
            start=days.start,
            end=days.end,
            as_of=days.as_of,
            log_complete_through=days.log_through,
            log_complete_stated=days.log_through_stated,
            hours_complete_through=days.hours_through,
            hours_complete_stated=days.hours_through_stated,
            settings_hash=program.settings_hash(),
            run_id=self.run_id,
            versions=self.versions,
            settings=program.settings(),
        )

    def content(self, outputs: Mapping[str, str]) -> dict[str, Any]:
        """The manifest as plain values; ``outputs``: SHA-256 by path."""
        return {
            "facility": self.program.facility.name,
            "run_id": self.run_id,
            "review": dict(vars(self.days)),
            "settings_sha256": self.program.settings_hash(),
            "settings": self.program.settings(),
            "inputs": self.tables["inputs"].to_dict("records"),
            "row_accounting": self.tables["accounting"].to_dict("records"),
            "outputs": dict(outputs),
            "versions": dict(self.versions),
            "tool_sha256": self.tool_sha256,
            "random_seeds": dict(self.seeds),
            **({"person_time_engine": self.engine} if self.engine else {}),
        }


def record(program: Program, days: ReviewDays, tables: Mapping[str, pd.DataFrame], engine: str = "") -> Record:
    """The record of a review that this installation makes."""
    return Record(program, days, tables, versions(), random_seeds(), tool_sha256(), engine)


def write(record: Record, folder: Path, history: Mapping[str, Any]) -> None:
    """Write the manifest of everything else in the folder; ``history``: what it says of earlier reviews."""
    content = {**record.content(hashes(folder)), **history}
    (folder / NAME).write_text(as_json(content) + "\n", encoding="utf-8", newline="\n")


def as_json(plain: Any) -> str:
    """Plain values as readable JSON, days as 2026-06-30."""
    return json.dumps(plain, indent=2, default=str, ensure_ascii=False)


def hashes(folder: Path) -> dict[str, str]:
    """SHA-256 of every file in a folder but the manifest, by path."""
    found = sorted(path for path in folder.rglob("*") if path.is_file() and path != folder / NAME)
    return {path.relative_to(folder).as_posix(): sha256(path) for path in found}


def sha256(path: Path) -> str:
    """SHA-256 of a file in hexadecimal digits."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@cache
def versions() -> dict[str, str]:
    """Versions of this tool and of the libraries that a figure or a byte of a review can depend on."""
    return {"handling-review": __version__, **{name: version(name) for name in LIBRARIES}}


@cache
def random_seeds() -> dict[str, int]:
    """The fixed seed of every module that draws random numbers."""
    modules = {name: vars(import_module(f"handling_review.{name}")) for name in SEEDED}
    return {name: int(found["SEED"] if "SEED" in found else found["_SEED"]) for name, found in modules.items()}


@cache
def tool_sha256() -> str:
    """One hash over the code, SQL, contracts, templates and studies: a version number alone names no state of them."""
    package = Path(__file__).parent
    digest = hashlib.sha256()
    for path in sorted(package.rglob("*.py"), key=lambda one: one.relative_to(package).as_posix()):
        digest.update(f"{path.relative_to(package).as_posix()} {sha256(path)}\n".encode())
    for folder in ("reports", "schemas", "sql"):
        for name in files.names(folder):
            digest.update(f"{folder}/{name} {hashlib.sha256(files.read_bytes(folder, name)).hexdigest()}\n".encode())
    return digest.hexdigest()
