"""Is a review still what was built? Its files against the manifest, and everything worked out again from its rows.

Four questions, each of which a change to one file answers with no: are the files those that the manifest names; do the
accepted rows in the database still give the result tables beside them; do these give every published number, table and
the page to the byte; does the manifest say what the database says. A fifth, if the inputs are at hand: are they those
that were read. What no check can see is a folder in which everything was forged together, the manifest too.
"""

from __future__ import annotations

import csv
import json
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from handling_review import last_review, manifest
from handling_review.evidence.assemble import assemble
from handling_review.evidence.tables import ResultTables
from handling_review.history import book as books
from handling_review.history.book import Book
from handling_review.history.find import Earlier
from handling_review.intake.hours_rows import see_hours
from handling_review.kept import FRAMES, restore
from handling_review.manifest import Record
from handling_review.problems import OutputProblem, ReviewProblem
from handling_review.program import FILE_NAMES, read_program
from handling_review.review import WIDE_PAGE, Progress, quiet, shown, write_results
from handling_review.store.database import Store
from handling_review.store.measure import measure, prepare
from handling_review.store.notes import OURS

DATABASE = "review.duckdb"
NUMBERS = "tables/numbers.csv"
_SHOWN = 10  # numbers named one by one


@dataclass(frozen=True)
class Verified:
    """What was looked at and what does not agree, as sentences; ``remarks`` are for the reader to weigh."""

    run_id: str
    manifest_sha256: str
    agrees: tuple[str, ...]
    troubles: tuple[str, ...]
    remarks: tuple[str, ...]


class _Findings:
    def __init__(self) -> None:
        self.agrees: list[str] = []
        self.troubles: list[str] = []
        self.remarks: list[str] = []

    def settle(self, troubles: list[str], agreed: str) -> None:
        """Either what is wrong, or that nothing is."""
        self.troubles += troubles
        if not troubles:
            self.agrees.append(agreed)


def verify(out: Path, inputs: Path | None = None, progress: Progress = quiet) -> Verified:
    """Hold a review against its manifest, its rows and, if named, its inputs (their folder, or the program file).

    Nothing is written. Raises ``OutputProblem`` where there is no review, or a build replaced it meanwhile.
    """
    path = out / manifest.NAME
    try:
        text = path.read_bytes()
    except OSError as error:
        raise OutputProblem(f"{out}: there is no review to verify ({manifest.NAME}: {error.strerror}).") from None
    found = _Findings()
    said = _read_manifest(text, found)
    if "system" in said and "run_id" not in said:
        raise OutputProblem(
            f"{out}: this is a combined review, which holds no rows to work out again. Verify each facility's own "
            "folder, then combine the same files once more: the same bytes come out."
        )
    progress("reading files", 0)
    _files(out, said, found)
    record, book = _stored(out, found)
    if record is not None and book is not None:
        _software(record, found)
        if said:
            _against_record(said, record, book, found)
        progress("working everything out again", 0)
        _results(out, record, book, found)
        if inputs is not None:
            _inputs(inputs, record, found)
    if inputs is None:
        found.remarks.append("Inputs: not looked at; name their folder or the program file with --inputs.")
    if path.read_bytes() != text:
        raise OutputProblem(f"{out}: a build put a new review there meanwhile. Run verify again.")
    return Verified(
        run_id=record.run_id if record else str(said.get("run_id", "not known")),
        manifest_sha256=manifest.sha256(path),
        agrees=tuple(found.agrees),
        troubles=tuple(found.troubles),
        remarks=tuple(found.remarks),
    )


def _stored(out: Path, found: _Findings) -> tuple[Record | None, Book | None]:
    """What the database holds of this review and of the earlier ones."""
    try:
        record, book = restore(out / DATABASE), books.read(out / DATABASE)
    except ReviewProblem as problem:
        found.troubles.append(f"{problem} Nothing could be worked out again.")
    except books.CannotRead as reason:
        found.troubles.append(f"{DATABASE}: {reason}. Nothing could be worked out again.")
    else:
        if book.reviews:
            return record, book
        found.troubles.append(f"{DATABASE}: holds no history. Nothing could be worked out again.")
    return None, None


def _read_manifest(text: bytes, found: _Findings) -> Mapping[str, Any]:
    try:
        said = json.loads(text.decode("utf-8"))
    except ValueError as error:
        found.troubles.append(f"{manifest.NAME}: cannot be read as JSON ({error}).")
        return {}
    if not isinstance(said, dict):
        found.troubles.append(f"{manifest.NAME}: holds no manifest.")
        return {}
    return said


def _files(out: Path, said: Mapping[str, Any], found: _Findings) -> None:
    """Every file that the manifest names, and files that it does not name."""
    listed = said.get("outputs")
    outputs = dict(listed) if isinstance(listed, dict) else {}
    troubles = [] if outputs else [f"{manifest.NAME}: names no outputs."]
    for name, digest in outputs.items():
        path = out / str(name)
        if Path(name).is_absolute() or ".." in Path(name).parts:
            troubles.append(f"{manifest.NAME}: names {name!r}, which is not inside the review.")
        elif path.is_symlink() or (path.exists() and not path.is_file()):
            troubles.append(f"{name}: no plain file.")
        elif not path.exists():
            troubles.append(f"{name}: missing.")
        elif manifest.sha256(path) != digest:
            troubles.append(f"{name}: changed since it was built (SHA-256 is not that of the manifest).")
    present = {p.relative_to(out).as_posix() for p in out.rglob("*") if not p.is_dir()} - {manifest.NAME}
    for name in sorted(present - set(outputs)):
        if name.split("/")[0] in OURS:
            troubles.append(f"{name}: extra; no build wrote it.")
        else:
            found.remarks.append(f"{name}: put beside the review by somebody; no part of it.")
    found.settle(troubles, f"Files: {len(outputs)} of {len(outputs)} are as the manifest says.")


def _software(record: Record, found: _Findings) -> None:
    if record.engine:
        found.remarks.append(f"Person-time: added up by {record.engine} in the build, and by DuckDB here.")
    here = manifest.versions()
    other = [f"{name} {old} (here {here.get(name)})" for name, old in record.versions.items() if here.get(name) != old]
    if record.tool_sha256 != manifest.tool_sha256():
        other.append("another state of this program's code")
    if other:
        found.remarks.append(f"Built with {', '.join(other)}: differences below may come from that.")


def _against_record(said: Mapping[str, Any], record: Record, book: Book, found: _Findings) -> None:
    """The manifest's other parts against what the database holds."""
    history = last_review.told(Earlier(Book(book.reviews[:-1], removals=book.removals)))
    wanted = json.loads(manifest.as_json({**record.content({}), **history}))
    parts = sorted((set(wanted) | set(said)) - {"outputs"})
    differ = [part for part in parts if said.get(part) != wanted.get(part)]
    found.settle(
        [f"{manifest.NAME}: {part} is not what the database holds." for part in differ],
        "Manifest: settings, days, inputs, versions and row accounting are those in the database.",
    )


def _results(out: Path, record: Record, book: Book, found: _Findings) -> None:
    """Rows to result tables, result tables to numbers, tables and page."""
    told = book.reviews[-1].about
    with tempfile.TemporaryDirectory(prefix="handling-review-") as name:
        folder = Path(name)
        if any(one.after_review >= len(book.reviews) for one in book.removals):
            found.remarks.append(
                "Rows: a person was taken out on request since, so the result tables were not worked out again."
            )
        else:
            _result_tables(out, record, folder, found)
        try:
            tables, changed = ResultTables.from_dict(record.tables), last_review.as_it_was(told)
            review = assemble(tables, record.scope(), shown(record.program), changed)
            again = folder / "review"
            again.mkdir()
            write_results(review, record.tables, again, wide_copy=(out / WIDE_PAGE).exists())
        except Exception as fault:  # anything can be in a database that was changed by hand
            found.troubles.append(f"{DATABASE}: its result tables make no review ({type(fault).__name__}).")
            return
        numbers = _numbers(out / NUMBERS, again / NUMBERS)
        found.settle(numbers, f"Numbers: {len(review.numbers):,} published numbers worked out again, all the same.")
        others = [path.relative_to(again).as_posix() for path in sorted(again.rglob("*")) if path.is_file()]
        troubles = [
            f"{one}: {where} is not what was worked out again."
            for one in others
            if (where := _difference(out / one, again / one)) and not (one == NUMBERS and numbers)
        ]
        found.settle(troubles, f"Page and tables: {len(others)} files made again, the same to the byte.")


def _result_tables(out: Path, record: Record, folder: Path, found: _Findings) -> None:
    stored = {name: frame for name, frame in record.tables.items() if name not in FRAMES}
    try:
        with Store(folder / "again.duckdb", folder / "spill", source=out / DATABASE) as store:
            for name in (*FILE_NAMES, "ids"):
                if name != "hours":
                    store.see(f"raw_{name}")
            see_hours(store)
            days = prepare(record.program, store, record.days.as_of)
            tables = measure(store)
    except (duckdb.Error, ReviewProblem) as error:
        first = str(error).splitlines()[0] if isinstance(error, ReviewProblem) else type(error).__name__
        found.troubles.append(f"{DATABASE}: its rows give no result tables ({first}).")
        return
    troubles = [
        f"{DATABASE}: table out_{name} is not what its accepted rows give."
        for name, frame in stored.items()
        if not frame.equals(tables[name])
    ]
    if days != record.days:
        troubles.append(f"{DATABASE}: the days of the review are not what its rows and settings give.")
    found.settle(troubles, f"Database: {len(stored)} result tables worked out again from its rows, all the same.")


def _numbers(there: Path, again: Path) -> list[str]:
    """Published numbers that differ, by key; the first ones in full."""
    try:
        old, new = (_by_key(path) for path in (there, again))
    except (OSError, ValueError, KeyError, csv.Error) as error:
        return [f"{NUMBERS}: cannot be read ({type(error).__name__})."]
    differ = [key for key in [*new, *(key for key in old if key not in new)] if old.get(key) != new.get(key)]
    told = [
        f"{NUMBERS}: {key} is {_shown(old.get(key))} there, and {_shown(new.get(key))} worked out again."
        for key in differ[:_SHOWN]
    ]
    return told if len(differ) <= _SHOWN else [*told, f"{NUMBERS}: {len(differ) - _SHOWN:,} more numbers differ."]


def _by_key(path: Path) -> dict[str, dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return {row["key"]: row for row in csv.DictReader(stream)}


def _shown(row: Mapping[str, str] | None) -> str:
    if row is None:
        return "missing"
    return row.get("value") or row.get("shown") or "blank"


def _difference(there: Path, again: Path) -> str:
    """Where two files differ; blank where they do not. A file that is missing was told already."""
    if not there.is_file() or there.is_symlink():
        return ""
    old, new = there.read_bytes(), again.read_bytes()
    if old == new:
        return ""
    pairs = zip(old.split(b"\n"), new.split(b"\n"), strict=False)
    line = next((number for number, (one, other) in enumerate(pairs, 1) if one != other), None)
    return f"line {line}" if line else "its end"


def _inputs(given: Path, record: Record, found: _Findings) -> None:
    """The files that were read, in a folder by name or as a program file names them."""
    troubles = []
    places: dict[tuple[str, int], Path] = {}
    if given.is_dir():
        folder = given
    else:
        program = read_program(given)
        folder = given.parent
        places = {(file, n): path for file, listed in program.files.items() for n, path in enumerate(listed)}
        if program.settings_hash() != record.program.settings_hash():
            troubles.append(f"{given.name}: its settings are not those of the review.")
    rows = record.tables["inputs"]
    seen: dict[str, int] = {}
    for file, name, digest in zip(rows["file"], rows["name"], rows["sha256"], strict=True):
        number = seen.get(file, 0)
        seen[file] = number + 1
        path = places.get((file, number), folder / name)
        if not path.is_file():
            troubles.append(f"{name}: this input is missing in {path.parent}.")
        elif manifest.sha256(path) != digest:
            troubles.append(f"{name}: this input is not the file that was read.")
    troubles += [
        f"{path.name}: this input was not read." for (file, n), path in places.items() if n >= seen.get(file, 0)
    ]
    found.settle(troubles, f"Inputs: {len(rows)} of {len(rows)} are the files that were read.")


def sentences(found: Verified) -> Iterator[str]:
    """The answer, a line each: what agrees, what does not, what to keep in mind."""
    yield from (f"  {line}" for line in found.agrees)
    yield from (f"  {line}" for line in found.remarks)
    if found.troubles:
        yield f"Does not agree ({len(found.troubles)}):"
        yield from (f"  {line}" for line in found.troubles)
        yield "The review in this folder is not the one that was built. Build it again from the inputs."
    else:
        yield "All agrees."
    yield f"Run {found.run_id}, SHA-256 of manifest.json {found.manifest_sha256}"
    yield (
        "A manifest cannot prove itself: who can write it can forge it. Hold these two against a note made elsewhere "
        "when the review was adopted, or build again from the inputs: the same two must come out."
    )
