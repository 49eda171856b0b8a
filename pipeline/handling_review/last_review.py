"""The last review beside this one: what is kept of a build for the next, and what changed since the last."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from handling_review.evidence.assemble import Changed, Review
from handling_review.evidence.numbers import Number
from handling_review.evidence.rates import as_date
from handling_review.evidence.restated_compare import (
    FIRST,
    Changes,
    Complete,
    as_plain,
    compare,
    complete_now,
    from_plain,
)
from handling_review.history import book as books
from handling_review.history.book import PastReview
from handling_review.history.chunks import FOLDER, Chunk
from handling_review.history.differences import between
from handling_review.history.find import Earlier
from handling_review.history.intake_record import as_plain as intake_plain
from handling_review.history.rows_kept import keep_rows
from handling_review.intake.load import Intake
from handling_review.program import Program
from handling_review.store.database import Store
from handling_review.store.settle import ReviewDays

TOOL = "handling-review"


@dataclass(frozen=True)
class Facts:
    """What a build knows of itself once its files are measured."""

    run_id: str
    days: ReviewDays
    intake: Intake
    quarters: pd.DataFrame
    unit_quarters: pd.DataFrame
    versions: Mapping[str, str]
    engine: str = ""

    def complete(self) -> Complete:
        """The complete quarters of the facility and of its units."""
        firm = self.quarters[self.quarters["is_complete"].astype(bool)]
        labels = set(firm["quarter"])
        units = self.unit_quarters[self.unit_quarters["is_complete"].astype(bool)]
        return complete_now(
            [(str(q.quarter), as_date(q.quarter_start), as_date(q.quarter_end)) for q in firm.itertuples()],
            [(str(u.unit), str(u.quarter)) for u in units.itertuples() if u.quarter in labels],
            self.days.start,
        )


def keep_and_compare(
    store: Store, folder: Path, program: Program, earlier: Earlier, facts: Facts, known: Changed | None = None
) -> tuple[tuple[Chunk, ...], Changed]:
    """Keep this build's rows in ``folder``; returns their chunks, and what tells the changes from published numbers.

    ``known``: the changes that a review was published with, where it is built again.
    """
    kept = keep_rows(store, folder / FOLDER, earlier, facts.intake.taken_over)
    if known is not None:
        return kept, known
    if not earlier.book.reviews:
        return kept, lambda _published: Changes(FIRST)
    last = earlier.book.reviews[-1]
    tool = facts.versions[TOOL]
    differences = between(store, last, kept, folder / FOLDER, program, facts.intake, tool)
    then = earlier.book.published()

    def changed(published: tuple[Number, ...]) -> Changes:
        return compare(last, then, published, facts.complete(), differences)

    return kept, changed


def as_it_was(told: Mapping[str, Any]) -> Changed:
    """The changes that a review was published with."""
    changes = from_plain(told["changes"])
    return lambda _published: changes


def close_book(
    store: Store, program: Program, earlier: Earlier, facts: Facts, review: Review, kept: Sequence[Chunk]
) -> None:
    """Write the history with this review at its end into the database."""
    complete = facts.complete()
    unit_map = dict(store.fetch("SELECT given, unit FROM int_unit_map ORDER BY given"))
    about = {
        "days": {name: str(value) for name, value in vars(facts.days).items()},
        "settings": program.settings(),
        "settings_sha256": program.settings_hash(),
        "versions": dict(facts.versions),
        "intake": intake_plain(facts.intake),
        "unit_map": unit_map,
        "complete": {"quarters": complete.quarters, "units": sorted(complete.units)},
        "notes": [asdict(note) for note in earlier.notes],
        "changes": as_plain(review.restated.changes),
    }
    if facts.engine:
        about["engine"] = facts.engine
    this = PastReview(facts.run_id, program.facility.name, facts.days.as_of, about, tuple(kept))
    numbers = {n.key: (n.unit, n.value, n.shown) for n in review.numbers}
    books.write(store, earlier.book.with_review(this, numbers))


def removals(earlier: Earlier) -> list[dict[str, object]]:
    """People taken out on request, for the manifest: the day, how many rows, why; never who."""
    return [{"removed_on": one.removed_on, "rows": one.rows, "reason": one.reason} for one in earlier.book.removals]


def named(earlier: Earlier) -> dict[str, str] | None:
    """The last review by its run and day, for the manifest; None where this is the first."""
    if not earlier.book.reviews:
        return None
    last = earlier.book.reviews[-1]
    return {"run_id": last.run_id, "as_of": last.as_of.isoformat()}


def told(earlier: Earlier) -> dict[str, Any]:
    """What the manifest says of earlier reviews: the last one, and the removals of people on request."""
    return {"last_review": named(earlier), "removals": removals(earlier)}
