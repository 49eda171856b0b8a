"""One column of a file: each distinct text of it judged once, and what became of every row of a block."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from handling_review.intake.contracts import Field
from handling_review.intake.judge import failing_rules
from handling_review.intake.rowkinds import marks
from handling_review.intake.values import Style, canonical, notes, point_is_decimal, typed
from handling_review.pseudonyms import Pseudonyms


class ColumnJudge:
    """Judges each distinct text of one column once and remembers the answer for the blocks that follow."""

    def __init__(self, column: Field, style: Style, header: str, keys: Pseudonyms | None = None) -> None:
        self.column = column
        self._keys = keys if column.personal else None
        self.style = style
        self.header = header
        self._known: pl.DataFrame | None = None

    def _judge(self, texts: pl.Series) -> pl.DataFrame:
        plain = canonical(self.column, texts, self.style)
        rule = failing_rules(self.column, plain)
        accepted = pl.DataFrame({"value": plain, "rule": rule}).select(
            pl.when(pl.col("rule").is_null()).then("value").otherwise(None).alias("value")
        )
        value = typed(self.column, accepted.to_series())
        if self._keys is not None:
            value = self._keys.of(value)
        known = pl.DataFrame(
            {"text": texts, "value": value, "rule": rule, "note": notes(self.column, texts, self.style)}
        )
        return known.hstack(marks(texts, self.header))

    def knows(self, text: str) -> bool:
        """Whether this text has been seen in the column."""
        return self._known is not None and bool((self._known.get_column("text") == text).any())

    @property
    def point_is_decimal(self) -> bool:
        """Whether some value seen so far can only be read with a decimal point."""
        return self._known is not None and point_is_decimal(self._known.get_column("text"))

    def judge(self, texts: pl.Series) -> pl.DataFrame:
        """Typed value, failing rule and note (null if none) and marks of each of the distinct ``texts``, in order.

        ``place`` numbers the texts of the column from 0, in the order in which blocks bring them.
        """
        if self._known is None:
            self._known = self._numbered(texts.unique(maintain_order=True))
        asked = pl.DataFrame({"text": texts})
        found = self._places(asked)
        if found.null_count():
            new = texts.filter(found.is_null()).unique(maintain_order=True)
            self._known = pl.concat([self._known, self._numbered(new)])
            found = self._places(asked)
        return self._known[found]

    def _places(self, asked: pl.DataFrame) -> pl.Series:
        """Where the texts stand among the known ones; null for a new one."""
        assert self._known is not None
        known = self._known.select("text", "place")
        return asked.join(known, on="text", how="left", maintain_order="left").get_column("place")

    def _numbered(self, texts: pl.Series) -> pl.DataFrame:
        return self._judge(texts).with_row_index("place", 0 if self._known is None else len(self._known))


@dataclass(frozen=True)
class Judged:
    """One column of a block: the cells' dictionary, each row's place in it, and the verdict on each entry."""

    texts: pl.Series
    where: pl.Series
    verdict: pl.DataFrame

    def values(self) -> pl.Series:
        """Typed value of each row."""
        return self.verdict.get_column("value").gather(self.where)

    def rules(self) -> pl.Series:
        """Failing rule of each row, null if none."""
        return self.verdict.get_column("rule").gather(self.where)

    def blank(self) -> pl.Series:
        """Whether each row's cell is blank."""
        return self.verdict.get_column("is_blank").gather(self.where)

    def notes(self) -> pl.Series | None:
        """Note on each row, null if none; None where no text of the block has one."""
        notes = self.verdict.get_column("note")
        return None if notes.null_count() == len(notes) else notes.gather(self.where)

    def text(self, place: int) -> str:
        """The cell of a row as it was written."""
        return str(self.texts[self.where[place]])
