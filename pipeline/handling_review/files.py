"""The one reader of shipped files: contracts, templates, SQL and the sample facility."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from handling_review.problems import ReviewProblem

_REPOSITORY = Path(__file__).resolve().parents[2]
_FOLDERS = ("schemas", "reports", "sample_data", "sql")


def _folder(name: str) -> Traversable:
    """A shipped folder: inside the installed package, or at the top of a checkout."""
    if name not in _FOLDERS:
        raise ReviewProblem(f"No shipped folder is called {name!r}.")
    inside = files("handling_review").joinpath(name)
    if inside.is_dir():
        return inside
    return _REPOSITORY / name


@cache
def read_text(folder: str, name: str) -> str:
    """Text of one shipped file, for example ``read_text("sql", "stg_hours.sql")``."""
    return _folder(folder).joinpath(name).read_text(encoding="utf-8")


def read_bytes(folder: str, name: str) -> bytes:
    """Bytes of one shipped file."""
    return _folder(folder).joinpath(name).read_bytes()


def names(folder: str, ending: str = "") -> list[str]:
    """Sorted names of the files in a shipped folder that end with ``ending``."""
    return sorted(f.name for f in _folder(folder).iterdir() if f.is_file() and f.name.endswith(ending))
