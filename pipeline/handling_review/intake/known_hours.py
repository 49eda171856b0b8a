"""Hours files that an earlier review has read, byte for byte: their rows are taken over instead of being read again.

Rows, people and slots are numbered in the order of the files, so what the first files gave then is what they would give
now. Only the first files in a row can be taken over: from the first that is new, all are read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from handling_review import files
from handling_review.findings import Finding
from handling_review.intake.coding import RowCoder
from handling_review.intake.contracts import Contract
from handling_review.intake.tally import Tally
from handling_review.store.database import Store


@dataclass(frozen=True)
class KeptReader:
    """What is left of a file's reader once the file is read: its contract and its row accounting."""

    contract: Contract
    tally: Tally


@dataclass(frozen=True)
class KnownFile:
    """One file as it was read: its name, the SHA-256 of its bytes, its row accounting."""

    name: str
    sha256: str
    tally: Tally


@dataclass(frozen=True)
class KnownHours:
    """All files of hours of an earlier review in their order, and what reading found in any of its files.

    ``database``: that of the review. Whoever makes this vouches that it is whole, and that the files would be read the
    same way now.
    """

    database: Path
    files: tuple[KnownFile, ...]
    findings: tuple[Finding, ...]

    def same(self, files: Sequence[tuple[str, str]]) -> int:
        """How many of the files come first, unchanged and in the same order, among these names and SHA-256."""
        count = 0
        for known, file in zip(self.files, files, strict=False):
            if (known.name, known.sha256) != file:
                break
            count += 1
        return count


def take_over(store: Store, coder: RowCoder, known: KnownHours, count: int) -> bool:
    """Take the rows of the first ``count`` files from the source of the store; False where they are not all there."""
    rows, slots = store.fetch(_sql("list_known_rows"), [count])[0]
    if rows != sum(one.tally.used for one in known.files[:count]):
        return False
    store.run("raw_known_rows", {"slots": slots})
    people = store.table(_sql("list_known_people"))
    with store.stream(_sql("list_known_slots"), [count]) as known_slots:
        coder.carry_on(pl.DataFrame(pl.from_arrow(people)), known_slots)
    return True


def _sql(name: str) -> str:
    return files.read_text("sql", f"{name}.sql")
