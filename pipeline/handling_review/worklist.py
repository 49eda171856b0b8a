"""The restricted list of people whose training is due: read, check, list, write for one pair of eyes.

It is never part of a review. The database that it is drawn from lives in a private folder and goes with the command.
"""

from __future__ import annotations

import contextlib
import csv
import os
import secrets
import stat
import tempfile
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from handling_review import pseudonyms
from handling_review.evidence.training_due import month_after
from handling_review.problems import OutputProblem
from handling_review.program import Program
from handling_review.pseudonyms import Pseudonyms
from handling_review.review import Progress, formula_safe, measured, quiet, refuse_blocked
from handling_review.store.database import Store

COLUMNS = ("employee_id", "unit", "state", "last_completed_on", "due_on")
LISTED = ("overdue", "never_trained", "due", "not_known")
MODE = 0o600
_HEADER = ",".join(COLUMNS) + "\n"
_WITHOUT_ID = "SELECT coalesce(sum(hours_rows), 0) FROM int_recent_hours WHERE employee_id IS NULL"


@dataclass(frozen=True)
class Worklist:
    """A written list: where, people in each listed state, and who is not on it.

    ``in_comparison_units``: people there, who are not to be trained yet. ``rows_without_id``: rows of hours of the last
    days that name nobody, such as agency hours.
    """

    path: Path
    people: Mapping[str, int]
    in_comparison_units: int
    rows_without_id: int


def write(program: Program, as_of: date, out: Path, within: int, progress: Progress = quiet) -> Worklist:
    """Write the list of people due to ``out``, readable by its owner alone.

    Where the program asks for pseudonyms the secret must be there, and the list still holds real ids.
    ``within``: training that lapses in the rest of the month of ``as_of`` or so many months after it is due. Raises
    ``DataProblem`` where a finding blocks a true review, and ``OutputProblem`` where ``out`` cannot be written or is
    anything but an earlier worklist; nothing is written then.
    """
    _refuse_foreign(out)
    keys = pseudonyms.kept(program, remember=True) if program.privacy.pseudonymise else None
    with tempfile.TemporaryDirectory(prefix="handling-review-") as folder:
        place = Path(folder)
        refuse_blocked(measured(program, as_of, place, progress, keys=keys).findings)
        with Store(place / "review.duckdb", place / "spill") as store:
            people = store.rows("list_training_due")
            rows_without_id = int(store.scalar(_WITHOUT_ID))
    if keys is not None:
        people = _with_ids(people, keys)
    last = month_after(as_of, within)
    listed = [row for row in people if _is_listed(row, last)]
    _write_private(out, listed)
    states = Counter(row["state"] for row in listed)
    return Worklist(
        path=out,
        people={state: states[state] for state in LISTED},
        in_comparison_units=sum(row["state"] == "comparison_unit" for row in people),
        rows_without_id=rows_without_id,
    )


def _with_ids(people: list[dict[str, Any]], keys: Pseudonyms) -> list[dict[str, Any]]:
    """The rows with their real ids, in the order that these give within each unit and state."""
    named = [{**row, "employee_id": keys.real(row["employee_id"])} for row in people]
    place: dict[tuple[str, str], int] = {}
    for row in named:
        place.setdefault((row["unit"], row["state"]), len(place))
    return sorted(named, key=lambda row: (place[row["unit"], row["state"]], row["employee_id"]))


def _is_listed(row: Mapping[str, Any], last_month: str) -> bool:
    if row["state"] == "due":
        return f"{row['due_on']:%Y-%m}" <= last_month
    return row["state"] in LISTED


def _refuse_foreign(out: Path) -> None:
    """Only a new name, or an earlier worklist, in a folder that is no review: a review is passed on whole."""
    try:
        found = out.lstat()
    except FileNotFoundError:
        found = None
    except OSError as error:
        raise _cannot(out, error) from None
    if found is not None:
        _refuse_other_files(out, found.st_mode)
    parent = out.absolute().parent
    if not parent.is_dir():
        raise OutputProblem(f"{out}: there is no folder {parent}. Make it first, or choose another with --out.")
    if (parent / "manifest.json").exists() and (parent / "program-review.html").exists():
        raise OutputProblem(
            f"{out}: that folder holds a review, and the worklist is never part of one. Choose another with --out."
        )


def _refuse_other_files(out: Path, mode: int) -> None:
    if stat.S_ISLNK(mode):
        raise OutputProblem(f"{out}: this is a symbolic link. Name the file itself with --out.")
    if stat.S_ISDIR(mode):
        raise OutputProblem(f"{out}: this is a folder. Name a file in it with --out.")
    if not stat.S_ISREG(mode):
        raise OutputProblem(f"{out}: this is no plain file. Choose another name with --out.")
    try:
        with out.open("rb") as stream:
            first = stream.readline(len(_HEADER))
    except OSError as error:
        raise _cannot(out, error) from None
    if first != _HEADER.encode("ascii"):
        raise OutputProblem(f"{out}: this file is no worklist, so it is left alone. Choose another name with --out.")


def _cannot(out: Path, error: OSError) -> OutputProblem:
    return OutputProblem(f"{out}: cannot be written ({error.strerror or error}). Choose another place with --out.")


def _write_private(out: Path, rows: list[dict[str, Any]]) -> None:
    """Write beside ``out`` under a name that is new and private from its first byte, then move it in place."""
    fresh = out.parent / f".worklist-{secrets.token_hex(8)}.new"
    try:
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, MODE)
    except OSError as error:
        raise _cannot(out, error) from None
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
            os.fchmod(stream.fileno(), MODE)  # an odd umask may have taken away more
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(COLUMNS)
            writer.writerows([formula_safe(row[name]) for name in COLUMNS] for row in rows)
            stream.flush()
            os.fsync(stream.fileno())
        _refuse_foreign(out)  # again: something may have come there in the meantime
        fresh.replace(out)
    except OSError as error:
        raise _cannot(out, error) from None
    finally:
        with contextlib.suppress(OSError):
            fresh.unlink()
