"""The look of every picture: one template, three hues, each hue also a shape or a dash."""

from __future__ import annotations

import html
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import plotly.graph_objects as go

from handling_review.evidence.measure import Rate
from handling_review.evidence.numbers import Number
from handling_review.evidence.quarters import part_of, year_of
from handling_review.page.drawing import Drawing, Look, scatter
from handling_review.page.sentence import Sentence
from handling_review.visible import lines, short

# Contrast with white: ink 15:1, accent 7:1, neutral 6:1, warning 6:1 (WCAG 2.2 asks 4.5:1 for text, 3:1 for lines).
INK, ACCENT, NEUTRAL, WARNING, RULE = "#1b242c", "#0b5d75", "#56626d", "#a23a08", "#d5dbe0"
FONT = "system-ui, -apple-system, 'Segoe UI', 'Liberation Sans', Arial, sans-serif"

MOST_NAMED_QUARTERS = 20  # more names than this run into each other beside a table

_AXIS: dict[str, Any] = {
    "showgrid": True,
    "gridcolor": RULE,
    "gridwidth": 1,
    "zeroline": False,
    "linecolor": NEUTRAL,
    "ticks": "outside",
    "ticklen": 4,
    "tickcolor": NEUTRAL,
    "tickfont": {"size": 13, "color": NEUTRAL},
    "fixedrange": True,
    "automargin": True,
    "title": {"font": {"size": 13, "color": NEUTRAL}},
}
TEMPLATE = go.layout.Template(
    layout={
        "font": {"family": FONT, "size": 14, "color": INK},
        "paper_bgcolor": "#ffffff",
        "plot_bgcolor": "#ffffff",
        "colorway": [ACCENT, NEUTRAL, WARNING],
        "showlegend": False,
        "hovermode": "closest",
        "hoverlabel": {"bgcolor": "#ffffff", "bordercolor": INK, "font": {"size": 14, "color": INK}, "align": "left"},
        "hoverdistance": 24,
        "margin": {"l": 48, "r": 16, "t": 30, "b": 44},
        "xaxis": {**_AXIS, "showgrid": False},
        "yaxis": _AXIS,
        "dragmode": False,
    }
)


@dataclass(frozen=True)
class Picture:
    """One drawn figure: its finding as a title, a description in words, and what Plotly draws.

    ``height`` and ``narrow_height`` are CSS pixels, fixed before anything is drawn so that the page does not
    jump; ``narrow`` changes the layout below 480 px. ``choices`` are pictures of the same kind, by name, one of which
    is drawn in its place when a reader picks it; ``picker`` is what the list of names is called, ``name`` this one's.
    """

    id: str
    title: Sentence
    description: Sentence
    figure: dict[str, Any]
    narrow: dict[str, Any]
    height: int
    narrow_height: int
    choices: tuple[Picture, ...] = ()
    picker: str = ""
    name: str = ""

    def json(self) -> str:
        """The figure as JSON that is safe inside an HTML script element."""
        content = {**self.figure, "narrow": self.narrow}
        if self.name:
            content |= {"title": self.title.text, "about": self.description.text}
        text = json.dumps(content, sort_keys=True, ensure_ascii=True, allow_nan=False)
        for char, code in (("<", "\\u003c"), (">", "\\u003e"), ("&", "\\u0026")):
            text = text.replace(char, code)
        return text


ROWS = {"meta": "rows"}  # of a layout: its points are read from the top row down and not from left to right
_HOVER_NAME = 56  # characters of a name in a label; the table has it whole
_MOST_YEARS = 6  # on a small screen


def safe(text: str) -> str:
    """Text for Plotly, whose labels read a little HTML, and formulas between dollar signs: both are disarmed."""
    return html.escape(text.replace("\u200b", ""), quote=False).replace("$", "&#36;")


def named(name: str, most: int = _HOVER_NAME) -> str:
    """A name for a label of Plotly, cut where it is too long for one."""
    return safe(short(name, most))


def wrapped(name: str, width: int = 15, most: int = 3) -> str:
    """A name over up to so many lines, for the margin of a picture."""
    return "<br>".join(safe(line) for line in lines(name, width, most))


def plain(figure: Drawing) -> dict[str, Any]:
    """The picture in this look, as plain values; Plotly has checked every property by then."""
    found: dict[str, Any] = json.loads(figure.checked(TEMPLATE).to_json(engine="json"))
    return found


def note(text: str, **where: Any) -> dict[str, Any]:
    """A text in the picture, without an arrow."""
    font = {"size": where.pop("size", 13), "color": where.pop("color", NEUTRAL)}
    return {"text": text, "showarrow": False, "font": font, **where}


def quarter_axis(quarters: Sequence[str], room: float = 0.0) -> dict[str, Any]:
    """An axis at 0, 1, 2 ... with every quarter named, the year under first quarters, and room on the right.

    With many quarters only the years are named.
    """
    if len(quarters) > MOST_NAMED_QUARTERS:
        years = narrow_quarter_axis(quarters, "x", room, most=len(quarters))
        return {"tickangle": 0, **{name.removeprefix("x."): value for name, value in years.items()}}
    texts = [
        f"{part_of(q)}<br>{year_of(q)}" if q.endswith("Q1") or index == 0 else part_of(q)
        for index, q in enumerate(quarters)
    ]
    return {
        "tickvals": list(range(len(texts))),
        "ticktext": texts,
        "tickangle": 0,
        "range": [-0.6, len(texts) - 0.4 + room],
    }


def narrow_quarter_axis(
    quarters: Sequence[str], axis: str = "xaxis", room: float = 0.0, most: int = 5
) -> dict[str, Any]:
    """The same axis with years only, ``most`` of them, as changes of the layout for a small screen."""
    firsts = [index for index, q in enumerate(quarters) if q.endswith("Q1")]
    firsts = firsts[:: max(1, math.ceil(len(firsts) / most))]
    return {
        f"{axis}.tickvals": firsts,
        f"{axis}.ticktext": [year_of(quarters[index]) for index in firsts],
        f"{axis}.range": [-0.6, len(quarters) - 0.4 + room],
    }


def dots(
    x: Sequence[float], y: Sequence[float], *, color: str = ACCENT, symbols: Sequence[str] | str = "circle", **more: Any
) -> Look:
    """Dots with optional whiskers (``error_x`` or ``error_y`` in ``more``)."""
    return scatter(
        x=list(x),
        y=list(y),
        mode="markers",
        cliponaxis=False,
        marker={
            "symbol": list(symbols) if not isinstance(symbols, str) else symbols,
            "size": 10,
            "color": color,
            "line": {"width": 2, "color": color},
        },
        **more,
    )


def whiskers(ends: Sequence[tuple[float, float, float]], color: str = ACCENT) -> dict[str, Any]:
    """Error bars from points given as (estimate, lower, upper)."""
    return {
        "type": "data",
        "symmetric": False,
        "array": [high - point for point, _, high in ends],
        "arrayminus": [point - low for point, low, _ in ends],
        "color": color,
        "thickness": 1.6,
        "width": 4,
    }


def value_of(number: Number | None) -> float:
    """The value of a number that is known to have one."""
    if number is None or number.value is None:
        raise ValueError("a number without a value cannot be drawn")
    return number.value


def point_of(rate: Rate) -> tuple[float, float, float] | None:
    """Estimate, lower and upper end of one rate; with no case the limit is the upper end. None if it is withheld."""
    if rate.rate is None:
        return None
    if rate.limit is not None:
        return 0.0, 0.0, value_of(rate.limit)
    return value_of(rate.rate), value_of(rate.lower), value_of(rate.upper)


def hover(rate: Rate, name: str, *, hours: bool = True) -> str:
    """The numbers of a point, the same text as in the table; ``hours``: whether the table has them."""
    text = f"{named(name)}<br>{rate.events.shown} cases" + (f" in {rate.hours.shown} hours" if hours else "")
    if rate.rate is not None:
        text += f"<br>rate {rate.rate.shown}"
    if rate.lower is not None and rate.upper is not None:
        text += f", likely {rate.lower.shown} to {rate.upper.shown}"
    if rate.limit is not None:
        text += f"<br>at most {rate.limit.shown}"
    return text
