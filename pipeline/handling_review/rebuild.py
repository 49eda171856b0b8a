"""An earlier review built again from what a later one has kept of it: its rows, its settings, what had changed then."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from handling_review import last_review
from handling_review.history import book as books
from handling_review.history.book import Book, PastReview
from handling_review.history.chunks import FOLDER, DamagedSnapshot
from handling_review.history.find import DATABASE, Earlier, findings_back
from handling_review.history.intake_record import load_kept
from handling_review.history.program_back import program_of
from handling_review.intake.load import Intake
from handling_review.manifest import versions
from handling_review.problems import OutputProblem, UsageProblem
from handling_review.program import Program
from handling_review.review import PAGE, Built, Progress, measured, quiet, write
from handling_review.store.database import Store
from handling_review.store.publish import output_folder

_KEYED = (
    "Built with pseudonyms: how ids were written is not kept, so the checks of that were not run and findings about it "
    "are missing."
)


@dataclass(frozen=True)
class Rebuilt:
    """A review that was built again, and why it may not be the same as it was published; empty where it is."""

    built: Built
    provisos: tuple[str, ...]


def rebuild(kept_in: Path, as_of: date | None, out: Path | None, progress: Progress = quiet) -> Rebuilt:
    """Build the review of ``as_of`` (None: the last) again from the store of ``kept_in``, with its own settings.

    Raises ``UsageProblem`` where nothing of that day is kept, ``OutputProblem`` where it cannot be built any more.
    """
    book = _book(kept_in)
    review = _chosen(book, kept_in, as_of)
    told = review.about
    program = program_of(told["settings"], told["settings_sha256"])
    target = out or Path(f"rebuilt-{review.as_of.isoformat()}")
    folder_kept = kept_in.absolute() / FOLDER
    before = Earlier(
        book.before(review.as_of), (folder_kept,), tuple(findings_back(dict(note)) for note in told["notes"])
    )

    def load(_program: Program, store: Store, _progress: Progress) -> Intake:
        return load_kept(told["intake"], review.chunks, folder_kept, store)

    try:
        with output_folder(target) as folder:
            found = measured(program, review.as_of, folder, progress, load, before.notes)
            digest = write(program, found, folder, before, progress, last_review.as_it_was(told))
    except DamagedSnapshot as damaged:
        raise OutputProblem(
            f"{kept_in}: the kept rows of the review as of {review.as_of} are not whole ({damaged}), so it cannot be "
            "built again. Take its output folder from a backup."
        ) from None
    built = Built(target / PAGE, found.findings, found.record(program).run_id, digest)
    return Rebuilt(built, _provisos(book, review))


def _book(kept_in: Path) -> Book:
    if not (kept_in / DATABASE).is_file():
        raise UsageProblem(f"--from-store {kept_in}: there is no review in this folder. Name the folder of a review.")
    try:
        return books.read(kept_in / DATABASE)
    except books.CannotRead as reason:
        raise OutputProblem(f"{kept_in}: the folder {reason}, so nothing can be built from it.") from None


def _chosen(book: Book, kept_in: Path, as_of: date | None) -> PastReview:
    days = ", ".join(review.as_of.isoformat() for review in book.reviews if review.keeps_rows) or "none"
    found = [review for review in book.reviews if as_of is None or review.as_of == as_of]
    if not found:
        raise UsageProblem(f"--as-of {as_of}: {kept_in} keeps no review of that day. It keeps rows of: {days}.")
    if not found[-1].keeps_rows:
        raise OutputProblem(
            f"{kept_in}: the rows of the review as of {found[-1].as_of} are no longer kept (keep_years under "
            f"[store], or they were damaged), so it cannot be built again. Rows are kept of: {days}."
        )
    return found[-1]


def _provisos(book: Book, review: PastReview) -> tuple[str, ...]:
    """Why the files can differ from those published then."""
    then, now = review.about["versions"], versions()
    other = [f"{name} {then.get(name, 'none')} then, {now[name]} now" for name in now if then.get(name) != now[name]]
    number = book.reviews.index(review) + 1
    removed = [one for one in book.removals if one.after_review >= number]
    is_keyed = bool(review.about["settings"].get("privacy", {}).get("pseudonymise"))
    engine = str(review.about.get("engine", ""))
    return (
        *_version_proviso(other),
        *_engine_proviso(engine),
        *_removal_proviso(removed),
        *((_KEYED,) if is_keyed else ()),
    )


def _version_proviso(other: Sequence[str]) -> tuple[str, ...]:
    if not other:
        return ()
    return (
        f"Other versions than when it was published ({'; '.join(other)}): words, files and last digits can differ.",
    )


def _engine_proviso(engine: str) -> tuple[str, ...]:
    if not engine:
        return ()
    return (
        f"Person-time was added up by {engine} then and by DuckDB now: page and tables are the same, manifest.json and "
        "review.duckdb no longer name that engine.",
    )


def _removal_proviso(removed: Sequence[books.Removal]) -> tuple[str, ...]:
    if not removed:
        return ()
    rows = sum(one.rows for one in removed)
    return (
        f"{rows:,} kept rows were freed of a person on request since: cases and hours are the same, figures by "
        "training are not.",
    )
