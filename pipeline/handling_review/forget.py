"""The command that takes one person out of a review folder; published numbers stay, the removal is logged."""

from __future__ import annotations

import hashlib
import json
import sys
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from handling_review import last_review
from handling_review.history import book as books
from handling_review.history.book import Book, Removal
from handling_review.history.chunks import FOLDER, DamagedSnapshot
from handling_review.history.erase import carry_rest, erase_from_chunks, erase_from_database
from handling_review.history.find import DATABASE, MANIFEST, Earlier, folders_beside
from handling_review.problems import OutputProblem, UsageProblem
from handling_review.pseudonyms import Pseudonyms, from_file
from handling_review.store.database import Store, stored_check_value
from handling_review.store.publish import OURS, output_folder

_LONGEST_ID, _LONGEST_REASON = 300, 300


@dataclass(frozen=True)
class Forgotten:
    """What was removed: rows of this review, rows kept in all, and the folders beside that were not touched."""

    folder: Path
    rows_now: int
    rows_kept: int
    beside: tuple[str, ...]

    def sentences(self) -> tuple[str, ...]:
        """What to tell the user; never the id."""
        told = [
            f"{self.folder}: the person is out of {self.rows_now:,} rows of this review and {self.rows_kept:,} kept "
            "rows; training rows are deleted, hours and cases stay without a person. Page, tables and published "
            "numbers are untouched. The removal is logged in manifest.json.",
            "The person is still in your own exports: take them out there too, or the next build reads them again.",
        ]
        if self.beside:
            told.append(
                f"Not touched, and may hold the same rows: {', '.join(self.beside)} (beside it), worklists, and "
                "backups. Run forget on each folder."
            )
        return tuple(told)


def read_id(path: Path | None) -> str:
    """The employee id from a file or standard input, never from the command line, where others could read it."""
    try:
        raw = sys.stdin.buffer.read(4096) if path is None else path.read_bytes()[:4096]
        text = raw.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError):
        raise UsageProblem(
            f"{path or 'standard input'}: the id cannot be read; write it there as UTF-8 text."
        ) from None
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if len(lines) != 1 or len(lines[0]) > _LONGEST_ID:
        raise UsageProblem(
            f"{path or 'standard input'}: expected one line with one employee id, found {len(lines)} lines with text."
        )
    return lines[0]


def forget(folder: Path, person: str, reason: str, secret: Path | None = None) -> Forgotten:
    """Take the person out of the folder's database and all kept rows.

    ``secret``: the facility's secret, where the review holds pseudonyms instead of ids. Raises ``UsageProblem`` where
    the folder holds no row of that person, the reason names them or the secret is not the review's, ``ProgramProblem``
    where the secret is unfit, ``OutputProblem`` where the folder cannot be read.
    """
    reason = " ".join(reason.split())
    if not reason or len(reason) > _LONGEST_REASON or person.casefold() in reason.casefold():
        raise UsageProblem(f"--reason: give up to {_LONGEST_REASON} characters that do not hold the id; it is kept.")
    folder = folder.absolute()
    if not (folder / DATABASE).is_file() or not (folder / MANIFEST).is_file():
        raise UsageProblem(f"{folder}: there is no review in this folder.")
    with output_folder(folder) as fresh:
        book = _book(folder)
        ids = _as_kept(book, person, _keys(folder, secret))
        try:
            reviews, rows_kept = erase_from_chunks(book.reviews, folder / FOLDER, fresh / FOLDER, ids)
        except DamagedSnapshot as damaged:
            raise OutputProblem(
                f"{folder}: the kept rows are not whole ({damaged}), so nothing was removed. Build again first."
            ) from None
        rows_now = erase_from_database(folder / DATABASE, fresh / DATABASE, ids)
        if not rows_now and not rows_kept:
            raise UsageProblem(
                f"{folder}: no row of that person is here. Ids are compared as the review keeps them (see [ids])."
            )
        removal = Removal(date.today(), len(reviews), rows_kept or rows_now, reason)
        _rewrite_book(fresh, Book(reviews, book.numbers, (*book.removals, removal)))
        carry_rest(folder, fresh, frozenset({DATABASE, FOLDER, MANIFEST, *_not_ours(folder)}))
        _rewrite_manifest(folder / MANIFEST, fresh, (*book.removals, removal))
    return Forgotten(folder, rows_now, rows_kept, folders_beside(folder))


def _book(folder: Path) -> Book:
    try:
        return books.read(folder / DATABASE)
    except books.CannotRead as told:
        raise OutputProblem(f"{folder}: the review {told}, so nobody can be taken out. Build it again first.") from None


def _keys(folder: Path, secret: Path | None) -> Pseudonyms | None:
    """The pseudonyms of the secret that the review was made with; none where it holds ids.

    Raises ``UsageProblem`` where the secret is needed and not named, or another; ``ProgramProblem`` if it is unfit.
    """
    made_with = stored_check_value(folder / DATABASE)
    if made_with is None:
        if secret is not None:
            raise UsageProblem(f"{folder}: this review holds ids, no pseudonyms; run again without --secret-file.")
        return None
    if secret is None:
        raise UsageProblem(
            f"{folder}: this review holds pseudonyms. Name the facility's secret with --secret-file (it lies beside "
            "the program file, named as [privacy] says), so that the id can be matched."
        )
    keys = from_file(secret)
    if keys.check_value != made_with:
        raise UsageProblem(f"{secret.name}: the review in {folder} was made with another secret. Nothing was removed.")
    return keys


def _as_kept(book: Book, person: str, keys: Pseudonyms | None) -> list[str]:
    """What the person is kept under: the id, padded with zeros where a review's settings say so, and its pseudonym.

    Earlier reviews of the folder may have kept ids as they are, and other widths.
    """
    widths = {int(review.about["settings"]["ids"]["zero_pad"]) for review in book.reviews}
    plain = {person.zfill(width) if person.isdigit() else person for width in widths}
    if keys is None:
        return sorted(plain)
    return sorted({*plain, *keys.of(pl.Series("employee_id", sorted(plain))).to_list()})


def _not_ours(folder: Path) -> frozenset[str]:
    return frozenset(path.name for path in folder.iterdir() if path.name not in OURS)


def _rewrite_book(fresh: Path, book: Book) -> None:
    """Put the history with its new chunks and the removal into the database."""
    with Store(fresh / DATABASE, fresh / "spill") as store:
        books.write(store, book)
        store.checkpoint()
    spill = fresh / "spill"
    if spill.exists():
        spill.rmdir()
    (fresh / DATABASE).chmod(0o600)


def _rewrite_manifest(old: Path, fresh: Path, removals: tuple[Removal, ...]) -> None:
    manifest: dict[str, Any] = json.loads(old.read_text(encoding="utf-8"))
    manifest["removals"] = last_review.removals(Earlier(Book(removals=removals)))
    outputs = sorted(path for path in fresh.rglob("*") if path.is_file())
    manifest["outputs"] = {p.relative_to(fresh).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in outputs}
    text = json.dumps(manifest, indent=2, default=str, ensure_ascii=False)
    (fresh / MANIFEST).write_text(text + "\n", encoding="utf-8", newline="\n")
