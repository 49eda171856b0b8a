"""The quarter axis of the time charts, and what is drawn behind their points: gaps, program starts, the diary."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

from handling_review.evidence.assemble import Review
from handling_review.evidence.rates import Span
from handling_review.page.drawing import Drawing
from handling_review.page.house import (
    INK,
    NEUTRAL,
    RULE,
    WARNING,
    Picture,
    named,
    narrow_quarter_axis,
    note,
    quarter_axis,
)
from handling_review.page.marks import is_about, letter, starts
from handling_review.page.short_names import shortened

MOST_LABELLED_STARTS = 6  # more labels than this would overprint each other
_NAME_LETTERS = 24
MOST_MARKED_STARTS = 12  # more lines than this hide the points; a band from the first to the last stands for them
_LETTER_WIDTH = 44.0  # pixels for a box of letters
_WIDE, _NARROW = 580.0, 216.0  # pixels of the narrowest axis on a wide and on a small screen
_MOST_LETTERS = 7  # characters in one box
_WHITE = "rgba(255,255,255,0.85)"
_GAP = "no rate"
_LETTERS = "letters"


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

    def narrow(self, axis: str = "xaxis", room: float = 0.0, most: int = 5) -> dict[str, Any]:
        """The axis with years only, at most so many named, for a small screen."""
        return narrow_quarter_axis(self.quarters, axis, room, most)


def over_time(review: Review, draw: Callable[[Review], Picture | None]) -> Picture | None:
    """A picture over the quarters; none where there is only one quarter, which the table says as well."""
    return draw(review) if len(review.rates.quarters) > 1 else None


def add_context(
    figure: Drawing,
    review: Review,
    axis: TimeAxis,
    rows: int = 1,
    *,
    labelled: bool = False,
    unit: str | None = None,
) -> None:
    """Incomplete quarters, program starts and, on a chart of one panel, diary letters.

    With ``unit`` (a unit's name) only that unit's start, and what the diary says of it or of all. ``labelled``: the
    starts carry the names of their units, unless they are many.
    """
    for index, span in enumerate(axis.spans):
        if not span.is_complete:
            figure.add_vrect(x0=index - 0.5, x1=index + 0.5, fillcolor=RULE, opacity=0.6)
            figure.add_annotation(note(_GAP, x=index, y=0.5, yref="paper", textangle=-90, color=INK, size=12))
    marked = [(here, names) for day, names in starts(review, unit) if (here := axis.at(day)) is not None]
    if len(marked) > MOST_MARKED_STARTS:
        _add_band(figure, marked)
        marked = []
    short = shortened([name for _, names in marked for name in names], _NAME_LETTERS)
    for step, (here, names) in enumerate(marked):
        figure.add_vline(x=here, line={"color": WARNING, "width": 1.5, "dash": "dot"})
        if labelled and len(marked) <= MOST_LABELLED_STARTS:
            side = "left" if here < 0.6 * len(axis.spans) else "right"
            figure.add_annotation(
                note(f"{_starters(tuple(short[name] for name in names))} {'starts' if len(names) == 1 else 'start'}",
                     x=here, y=1 - 0.06 * step, yref="paper", yanchor="top", xanchor=side, color=WARNING, size=12,
                     bgcolor=_WHITE)
            )  # fmt: skip
    if rows == 1:
        for letters in _letters(review, axis, _WIDE, unit):
            figure.add_annotation(letters)


def _add_band(figure: Drawing, marked: list[tuple[float, tuple[str, ...]]]) -> None:
    """Many program starts as one band between the first and the last, each of which is a line."""
    (first, _), (last, _) = marked[0], marked[-1]
    figure.add_vrect(x0=first, x1=last, fillcolor=WARNING, opacity=0.08)
    for here in (first, last):
        figure.add_vline(x=here, line={"color": WARNING, "width": 1.5, "dash": "dot"})
    units = sum(len(names) for _, names in marked)
    figure.add_annotation(
        note(f"{units} units start", x=(first + last) / 2, y=1, yref="paper", yanchor="top", xanchor="center",
             color=WARNING, size=12, bgcolor=_WHITE)
    )  # fmt: skip


def _starters(names: tuple[str, ...]) -> str:
    return named(names[0], 30) if len(names) == 1 else f"{named(names[0], 24)} and {len(names) - 1} more"


def _letters(review: Review, axis: TimeAxis, width: float, unit: str | None) -> list[dict[str, Any]]:
    """Boxes with the letters of the diary in one line above the chart; letters that lie close share a box."""
    room = _LETTER_WIDTH / width * (len(axis.spans) + 0.2)
    found = sorted(
        (where, order)
        for order, entry in enumerate(review.diary)
        if (where := axis.at(entry.date)) is not None and is_about(review, entry.unit, unit)
    )
    boxes: list[list[tuple[float, int]]] = []
    for where, order in found:
        if boxes and where - boxes[-1][0][0] < room:
            boxes[-1].append((where, order))
        else:
            boxes.append([(where, order)])
    return [
        note(_together([order for _, order in box]), x=(box[0][0] + box[-1][0]) / 2, y=1, yref="paper",
             yanchor="bottom", yshift=3, color=INK, size=11, bordercolor=NEUTRAL, borderpad=1, bgcolor="#ffffff",
             name=_LETTERS)
        for box in boxes
    ]  # fmt: skip


def _together(orders: list[int]) -> str:
    """The letters of one box: "C", "C, D", or "C–F" for a run."""
    names = [letter(order) for order in sorted(orders)]
    if len(names) > 2 and max(orders) - min(orders) == len(orders) - 1:
        return f"{names[0]}–{names[-1]}"
    text = ", ".join(names)
    return text if len(text) <= _MOST_LETTERS else f"{names[0]}…{names[-1]}"


def for_narrow(
    figure: dict[str, Any], review: Review | None = None, axis: TimeAxis | None = None, unit: str | None = None
) -> list[dict[str, Any]]:
    """The annotations that still fit a small screen: no names of lines or program starts, short headings.

    With ``review`` and ``axis`` the letters of the diary too, set anew for the smaller width.
    """
    kept = []
    for annotation in figure["layout"].get("annotations", []):
        text = annotation["text"].replace("</b> per 200,000 hours", "</b>")
        is_heading = annotation.get("xref") == "paper"
        if (is_heading or text == _GAP) and annotation.get("name") != _LETTERS:
            kept.append({**annotation, "text": text})
    if review is None or axis is None:
        return kept
    return [*kept, *_letters(review, axis, _NARROW, unit)]
