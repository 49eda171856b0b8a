"""What a numbered finding is, and the counter that numbers them through the parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from handling_review.page import long_tables
from handling_review.page.house import Picture
from handling_review.page.sentence import Sentence
from handling_review.page.tables import Table


@dataclass(frozen=True)
class WhatIf:
    """What the small calculator of a finding starts from: names of the proposals, and their figures as JSON."""

    names: tuple[str, ...]
    json: Markup
    currency: str


@dataclass(frozen=True)
class Finding:
    """One numbered finding. ``says`` can be pasted in the minutes; ``how`` tells how it is known.

    With ``beside`` the first table is narrow enough to stand next to the picture on a wide screen; ``folded``
    tables open on request and in print. A ``second`` picture stands below the first, a
    calculator (``what_if``) below that.
    """

    number: int
    id: str
    title: str
    says: tuple[Sentence, ...]
    picture: Picture | None
    beside: bool
    tables: tuple[Table, ...]
    folded: tuple[Table, ...]
    how: tuple[Sentence, ...]
    second: Picture | None = None
    what_if: WhatIf | None = None
    pointer: str = ""  # where the tables are that are too long to stand in sight

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """The pictures in order, with those that can be picked in place of one."""
        shown = [picture for picture in (self.picture, self.second) if picture is not None]
        return tuple(one for picture in shown for one in (picture, *picture.choices))


class Counter:
    """Numbers the findings in the order they are written."""

    def __init__(self) -> None:
        self.last = 0

    def finding(
        self,
        id: str,
        title: str,
        says: Sequence[Sentence],
        picture: Picture | None,
        shown: Sequence[Table],
        how: Sequence[Sentence],
        folded: Sequence[Table] = (),
        *,
        beside: bool = False,
        second: Picture | None = None,
        what_if: WhatIf | None = None,
    ) -> Finding:
        """The next finding, without empty tables and pictures without points; long tables go under the fold."""
        self.last += 1
        drawn, below = long_tables.with_points(picture), long_tables.with_points(second)
        kept, under, pointer = long_tables.arranged(shown, folded)
        return Finding(
            number=self.last,
            id=id,
            title=title,
            says=tuple(says),
            picture=drawn,
            beside=beside and drawn is not None and bool(kept),
            tables=kept,
            folded=under,
            how=tuple(how),
            second=below,
            what_if=what_if,
            pointer=pointer,
        )
