"""Row accounting of one file while it is read, and running sums for its totals rows."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation

KEPT_PER_RULE = 1000  # lines kept for each column and rule; counts stay exact beyond it


@dataclass(frozen=True)
class StatedTotal:
    """A totals row: its line, what it states, and the sums it could mean: all rows above, or those since the last."""

    line: int
    stated: Decimal | None
    of_all: Decimal
    since_last: Decimal

    @property
    def agrees(self) -> bool:
        """Whether the stated total is one of the two sums."""
        return self.stated is not None and self.stated in (self.of_all, self.since_last)


@dataclass
class RunningSums:
    """Sums of the hours column while it streams by."""

    of_all: Decimal = Decimal(0)
    since_last: Decimal = Decimal(0)
    totals: list[StatedTotal] = field(default_factory=list)

    def add(self, hours: Decimal) -> None:
        """Add the hours of some rows."""
        self.of_all += hours
        self.since_last += hours

    def total(self, line: int, text: str) -> None:
        """Note a totals row and what its hours cell says."""
        try:
            stated: Decimal | None = Decimal(text)
        except InvalidOperation:
            stated = None
        self.totals.append(StatedTotal(line, stated, self.of_all, self.since_last))
        self.since_last = Decimal(0)


@dataclass(frozen=True)
class BadCell:
    """One value that failed a rule: physical line, record, column, rule, and the cell's own text.

    ``hidden``: the text may be somebody's, so it is never quoted: an employee id, or a cell of a row that has slipped.
    """

    line: int
    record: int
    column: str
    rule: str
    text: str
    hidden: bool = False


@dataclass
class Tally:
    """Row accounting of one file while it is read: each row is used, set aside or excluded, once.

    A bad value in a column that is not vital is dropped, and its row stays.

    ``set_aside`` and ``excluded`` count rows by rule; ``cells`` counts failing cells by column and rule, of which
    ``kept`` holds the first. ``notes`` holds rows and first line of values read with a proviso, by column and note.
    """

    rows_in: int = 0
    used: int = 0
    set_aside: Counter[str] = field(default_factory=Counter)
    excluded: Counter[str] = field(default_factory=Counter)
    cells: Counter[tuple[str, str]] = field(default_factory=Counter)
    hours_set_aside: dict[tuple[str, str], float] = field(default_factory=dict)
    kept: dict[tuple[str, str], list[BadCell]] = field(default_factory=dict)

    notes: dict[tuple[str, str], tuple[int, int]] = field(default_factory=dict)
    sums: RunningSums = field(default_factory=RunningSums)

    def keep(self, bad: BadCell) -> None:
        """Remember one bad cell, up to the limit for its column and rule."""
        kept = self.kept.setdefault((bad.column, bad.rule), [])
        if len(kept) < KEPT_PER_RULE:
            kept.append(bad)

    def room(self, column: str, rule: str) -> int:
        """How many more cells of this column and rule are kept."""
        return KEPT_PER_RULE - len(self.kept.get((column, rule), []))
