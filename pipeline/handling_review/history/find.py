"""Which review is the last one: the one in the output folder, the newest beside it, or the one that is named."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from handling_review.findings import Finding
from handling_review.history import book as books
from handling_review.history.book import Book
from handling_review.history.chunks import FOLDER, Chunk, is_whole
from handling_review.problems import UsageProblem
from handling_review.program import Program
from handling_review.settings import Facility

DATABASE, MANIFEST = "review.duckdb", "manifest.json"
_LARGEST_MANIFEST = 64 << 20


@dataclass(frozen=True)
class Earlier:
    """What is known of earlier reviews when a build begins.

    ``sources``: folders that may hold chunks. ``notes``: what a reader must know of reviews that could not be used.
    ``folder``: that of the review whose history is carried on, with ``held``, its whole book.
    """

    book: Book = field(default_factory=Book)
    sources: tuple[Path, ...] = ()
    notes: tuple[Finding, ...] = ()
    folder: Path | None = None
    held: Book | None = None

    def hours_of(self, count: int) -> tuple[Chunk, ...]:
        """Chunks of the first ``count`` files of hours of that review; none where its rows are not kept."""
        review = self.held.reviews[-1] if self.held else None
        if review is None or not review.keeps_rows:
            return ()
        return tuple(chunk for chunk in review.chunks if chunk.file == "hours" and chunk.file_no <= count)


@dataclass(frozen=True)
class _Folder:
    path: Path
    facility: str
    as_of: date


def earlier(program: Program, as_of: date, out: Path, since: Path | None = None) -> Earlier:
    """The history that a build into ``out`` carries on.

    Reviews of the same day or later do not count. Raises ``UsageProblem`` where ``since`` is no folder with a review.
    """
    out = out.absolute()
    notes: list[Finding] = []
    book, sources = Book(), [out / FOLDER]
    used: Path | None = None
    held: Book | None = None
    for folder in _candidates(program, as_of, out, since):
        if folder.facility != program.facility.name:
            if since is not None:
                notes.append(_note(folder.path, "is a review of another facility"))
            continue
        try:
            whole = books.read(folder.path / DATABASE)
        except books.CannotRead as reason:
            notes.append(_note(folder.path, str(reason)))
            continue
        found = whole.before(as_of)
        if not found.reviews:
            if since is not None:
                notes.append(_note(folder.path, f"is not earlier than {as_of}"))
            continue
        book, used, held = found, folder.path, whole
        if folder.path == out:
            notes += _said_before(whole, as_of)
        sources.append(folder.path / FOLDER)
        break
    kept, dropped = _within_retention(book, as_of, program.store.keep_years)
    notes += dropped
    kept, lost = _whole(kept, sources)
    return Earlier(kept, tuple(dict.fromkeys(sources)), tuple(dict.fromkeys([*notes, *lost])), used, held)


def _said_before(book: Book, as_of: date) -> list[Finding]:
    """Notes of the review that is built again: it is to say the same, though what it dropped is gone by now."""
    return [findings_back(one) for review in book.reviews if review.as_of == as_of for one in review.about["notes"]]


def findings_back(plain: dict[str, Any]) -> Finding:
    """A finding from its plain values."""
    suggest = plain.get("suggest")
    return Finding(**{**plain, "suggest": tuple(suggest) if suggest else None})


def _candidates(program: Program, as_of: date, out: Path, since: Path | None) -> Iterator[_Folder]:
    if since is not None:
        named = _seen(since.absolute())
        if named is None:
            raise UsageProblem(f"--since {since}: there is no review in this folder. Name the folder of a review.")
        yield named
        return
    own = _seen(out)
    if own is not None:
        yield own
    if program.facility.name == Facility().name:  # nameless facilities are not known to be the same
        return
    beside = [
        found
        for path in sorted(_folders(out.parent))
        if path != out and (found := _seen(path)) and found.facility == program.facility.name and found.as_of < as_of
    ]
    yield from sorted(beside, key=lambda one: (one.as_of, one.path.name), reverse=True)


def folders_beside(folder: Path) -> tuple[str, ...]:
    """Names of the folders beside a review that hold a review of the same facility."""
    own = _seen(folder)
    if own is None:
        return ()
    beside = [found for path in _folders(folder.parent) if path != folder and (found := _seen(path))]
    return tuple(sorted(one.path.name for one in beside if one.facility == own.facility))


def _folders(parent: Path) -> list[Path]:
    try:
        return [
            one for one in parent.iterdir() if not one.name.startswith(".") and one.is_dir() and not one.is_symlink()
        ]
    except OSError:
        return []


def _seen(path: Path) -> _Folder | None:
    """What the manifest of a folder says, if it is one of ours."""
    manifest = path / MANIFEST
    try:
        if not manifest.is_file() or manifest.stat().st_size > _LARGEST_MANIFEST:
            return None
        told: Any = json.loads(manifest.read_text(encoding="utf-8"))
        return _Folder(path, str(told["facility"]), date.fromisoformat(str(told["review"]["as_of"])[:10]))
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def _note(folder: Path, reason: str) -> Finding:
    return Finding(
        severity="note",
        rule="earlier review not used",
        file=folder.name,
        message=f"{folder.name} {reason}, so nothing is compared with it.",
        what_to_do="Name another earlier review with --since, or keep this as the first.",
    )


def _within_retention(book: Book, as_of: date, keep_years: int) -> tuple[Book, list[Finding]]:
    """The book without the rows of reviews whose last year ended more than ``keep_years`` years ago."""
    reviews, notes = [], []
    for review in book.reviews:
        year = date.fromisoformat(str(review.about["days"]["end"])).year
        if review.keeps_rows and as_of.year - year > keep_years:
            notes.append(
                Finding(
                    severity="note",
                    rule="snapshot dropped",
                    file=MANIFEST,
                    message=f"the rows of the review as of {review.as_of} were kept {keep_years} years after "
                    f"{year}, the last year it covers, and are dropped now; its published numbers stay.",
                    what_to_do="Nothing; keep_years under [store] sets the time (29 CFR 1904.33 asks for five years).",
                )
            )
            review = books.PastReview(review.run_id, review.facility, review.as_of, review.about, (), False)
        reviews.append(review)
    return Book(tuple(reviews), book.numbers, book.removals), notes


def _whole(book: Book, sources: list[Path]) -> tuple[Book, list[Finding]]:
    """The book without the rows of reviews whose chunks are not all there."""
    reviews, notes = [], []
    for review in book.reviews:
        if review.keeps_rows and not is_whole(review.chunks, sources):
            notes.append(
                Finding(
                    severity="note",
                    rule="snapshot damaged",
                    file=FOLDER,
                    message=f"the kept rows of the review as of {review.as_of} are not whole, so it cannot be built "
                    "again; its published numbers stay.",
                    what_to_do="If you have a copy of its output folder, name it with --since.",
                )
            )
            review = books.PastReview(review.run_id, review.facility, review.as_of, review.about, (), False)
        reviews.append(review)
    return Book(tuple(reviews), book.numbers, book.removals), notes
