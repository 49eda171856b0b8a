"""The quarter axis of the time charts, and what is drawn behind their points: gaps, program starts, the diary."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import plotly.graph_objects as go

from handling_review.evidence.assemble import Review
from handling_review.evidence.rates import Span
from handling_review.page.house import (
    INK,
    NEUTRAL,
    RULE,
    WARNING,
    Picture,
    narrow_quarter_axis,
    note,
    quarter_axis,
    safe,
)
from handling_review.page.marks import is_about, letter, starts
from handling_review.page.short_names import shortened

MOST_LABELLED_STARTS = 6  # more labels than this would overprint each other
MOST_MARKED_STARTS = 12  # more lines than this hide the points; a band from the first to the last stands for them
_NAME_LETTERS = 24
_LETTER_ROOM = 0.7  # quarters that a boxed letter takes on the narrowest wide picture
_WHITE = "rgba(255,255,255,0.85)"
_GAP = "no rate"
# part of the width that the name of a line takes at the right end, on a wide and on a small screen
_NAME_SHARE, _NARROW_NAME_SHARE = 0.085, 0.26


@dataclass(frozen=True)
class TimeAxis:
    """A quarter axis: positions 0, 1, 2, ..., each quarter named, years under first quarters."""

    spans: tuple[Span, ...]

    @property
    def quarters(self) -> list[str]:
        """The quarters in order."""
        return [span.quarter for span in self.spans]

    def at(self, day: date) -> float | None:
        """Where a day lies; ``None`` outside the axis."""
        for index, span in enumerate(self.spans):
            if span.start <= day <= span.end:
                length = (span.end - span.start).days + 1
                return round(index - 0.5 + (day - span.start).days / length, 3)
        return None

    def wide(self, room: float = 0.0) -> dict[str, Any]:
        """The axis with every quarter, and room on the right for names of lines."""
        return quarter_axis(self.quarters, room)

    def name_room(self, *, is_narrow: bool = False) -> float:
        """Room for names of lines on the right, in quarters: a share of the axis, because the names are as long."""
        share, least = (_NARROW_NAME_SHARE, 3.6) if is_narrow else (_NAME_SHARE, 1.1)
        return max(least, round(share * len(self.spans), 2))

    def narrow(self, axis: str = "xaxis", room: float = 0.0) -> dict[str, Any]:
        """The axis with years only, for a small screen."""
        return narrow_quarter_axis(self.quarters, axis, room)


def over_time(review: Review, draw: Callable[[Review], Picture | None]) -> Picture | None:
    """A picture over the quarters; none where there is only one quarter, which the table says as well."""
    return draw(review) if len(review.rates.quarters) > 1 else None


def add_context(
    figure: go.Figure,
    review: Review,
    axis: TimeAxis,
    rows: int = 1,
    *,
    named: bool = False,
    unit: str | None = None,
) -> None:
    """Incomplete quarters, program starts and diary letters on every panel of a time chart.

    With ``unit`` (a unit's name) only that unit's start, and what the diary says of it or of all.
    """
    every = {} if rows == 1 else {"row": "all", "col": 1, "exclude_empty_subplots": False}
    for index, span in enumerate(axis.spans):
        if not span.is_complete:
            figure.add_vrect(x0=index - 0.5, x1=index + 0.5, fillcolor=RULE, opacity=0.6, line_width=0, **every)
            figure.add_annotation(note(_GAP, x=index, y=0.5, yref="paper", textangle=-90, color=INK, size=12))
    marked = [(here, names) for day, names in starts(review, unit) if (here := axis.at(day)) is not None]
    if len(marked) > MOST_MARKED_STARTS:
        _add_band(figure, marked, every)
        marked = []
    short = shortened([name for _, names in marked for name in names], _NAME_LETTERS)
    for step, (here, names) in enumerate(marked):
        figure.add_vline(x=here, line={"color": WARNING, "width": 1.5, "dash": "dot"}, **every)
        if named and len(marked) <= MOST_LABELLED_STARTS:
            who = ", ".join(short[name] for name in names)
            figure.add_annotation(
                note(f"{safe(who)} starts", x=here, y=1 - 0.06 * step, yref="paper", yanchor="top",
                     xanchor="left", color=WARNING, size=12, bgcolor=_WHITE)
            )  # fmt: skip
    taken: list[float] = []  # where the last letter of each row of letters stands
    for order, entry in enumerate(review.diary):
        where = axis.at(entry.date)
        if where is not None and is_about(review, entry.unit, unit):
            level = next((i for i, last in enumerate(taken) if where - last > _LETTER_ROOM), len(taken))
            taken[level : level + 1] = [where]
            figure.add_annotation(
                note(letter(order), x=where, y=0, yref="paper", yanchor="bottom", color=INK, size=11,
                     bordercolor=NEUTRAL, borderpad=1, bgcolor="#ffffff", yshift=16 * level)
            )  # fmt: skip


def _add_band(figure: go.Figure, marked: list[tuple[float, tuple[str, ...]]], every: dict[str, Any]) -> None:
    """Many program starts as one band between the first and the last, each of which is a line."""
    (first, _), (last, _) = marked[0], marked[-1]
    figure.add_vrect(x0=first, x1=last, fillcolor=WARNING, opacity=0.08, line_width=0, **every)
    for here in (first, last):
        figure.add_vline(x=here, line={"color": WARNING, "width": 1.5, "dash": "dot"}, **every)
    units = sum(len(names) for _, names in marked)
    figure.add_annotation(
        note(f"{units} units start", x=(first + last) / 2, y=1, yref="paper", yanchor="top", xanchor="center",
             color=WARNING, size=12, bgcolor=_WHITE)
    )  # fmt: skip


def without_names(figure: dict[str, Any]) -> list[dict[str, Any]]:
    """The annotations that still fit a small screen: no names of lines or program starts, short headings."""
    kept = []
    for annotation in figure["layout"].get("annotations", []):
        text = annotation["text"].replace("</b> per 200,000 hours", "</b>")
        is_letter, is_heading = len(text) < 3, annotation.get("xref") == "paper"
        if is_letter or is_heading or text == _GAP:
            kept.append({**annotation, "text": text})
    return kept
