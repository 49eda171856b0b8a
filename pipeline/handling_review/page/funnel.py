"""The funnel of units as sentence, picture and table."""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go

from handling_review.evidence.unit_funnel import BEYOND_95, BEYOND_998, INSIDE, FunnelUnit, UnitFunnel
from handling_review.page.house import (
    ACCENT,
    INK,
    NEUTRAL,
    TEMPLATE,
    WARNING,
    Picture,
    dots,
    note,
    plain,
    safe,
    value_of,
)
from handling_review.page.sentence import NOTHING, Sentence, listed, say
from handling_review.page.short_names import shortened
from handling_review.page.tables import Column, Table
from handling_review.page.words.rates import SERIES_NAME, upper

_SHORT = 20
_NAME_WIDE, _NAME_TALL = 0.13, 0.045  # what a name takes of the picture's width and height


def funnel_sentence(found: UnitFunnel) -> Sentence:
    """Which units lie beyond the outer limits, or that none does."""
    if found.reason:
        return NOTHING
    out = tuple(unit.name for unit in found.units if unit.where == BEYOND_998)
    if not out:
        return say("In the funnel no unit lies beyond the outer limits, which chance crosses once in 500 units.")
    lie = "lie" if len(out) > 1 else "lies"
    return say(f"In the funnel {listed(out)} {lie} beyond the outer limits, which chance crosses once in 500 units.")


def funnel_title(found: UnitFunnel) -> Sentence:
    """The finding as the title of the picture."""
    out = tuple(unit.name for unit in found.units if unit.where == BEYOND_998)
    near = tuple(unit.name for unit in found.units if unit.where == BEYOND_95)
    if out:
        return say(f"Funnel: beyond the outer limits: {listed(out)}")
    if near:
        return say(
            f"Funnel: none beyond the outer limits; beyond the inner, as 1 unit in 20 is by chance: {listed(near)}"
        )
    return say("Funnel: every unit with a rate lies where chance alone would put it")


def picture(found: UnitFunnel) -> Picture | None:
    """Rates over hours with the limits around the facility's rate."""
    if found.reason or found.target is None:
        return None
    figure = go.Figure(layout={"template": TEMPLATE})
    at = [point[0] / 1000 for point in found.curve]
    for place, dash in ((1, "dash"), (2, "dash"), (3, "dot"), (4, "dot")):
        figure.add_trace(
            go.Scatter(
                x=at,
                y=[point[place] for point in found.curve],
                mode="lines",
                line={"color": NEUTRAL, "width": 1.5, "dash": dash},
                hoverinfo="skip",
            )
        )
    figure.add_hline(y=value_of(found.target), line={"color": INK, "width": 1.5})
    for chosen, symbol, color in (
        ([u for u in found.units if u.where == INSIDE], "circle", ACCENT),
        ([u for u in found.units if u.where == BEYOND_95], "diamond-open", ACCENT),
        ([u for u in found.units if u.where == BEYOND_998], "square", WARNING),
    ):
        if chosen:
            figure.add_trace(
                dots(
                    [value_of(u.hours) / 1000 for u in chosen],
                    [value_of(u.rate) for u in chosen],
                    color=color,
                    symbols=symbol,
                    hovertext=[_hover(u) for u in chosen],
                    hoverinfo="text",
                )
            )
    last = found.curve[-1]
    labels = [
        note(f"facility {found.target}", x=at[0], y=value_of(found.target), xanchor="left", yanchor="bottom",
        color=INK),
        note("dashed: 95%", x=last[0] / 1000, y=last[2], xanchor="right", yanchor="bottom"),
        note("dotted: 99.8%", x=last[0] / 1000, y=last[4], xanchor="right", yanchor="bottom"),
    ]  # fmt: skip
    for label in labels:
        figure.add_annotation(label)
    tops = [point[2] for point in found.curve] + [value_of(u.rate) for u in found.units]
    figure.update_yaxes(
        range=[0, min(max(point[4] for point in found.curve), max(tops) * 1.25) * 1.04],
        title={"text": "cases per 200,000 hours", "standoff": 8},
    )
    figure.update_xaxes(
        title={"text": "thousand hours worked", "standoff": 8},
        showgrid=False,
        range=[at[0], at[-1]],
        separatethousands=True,
    )
    ends = (at[0], at[-1], figure.layout.yaxis.range[1])
    for name in _names(found, ends, [(last[0] / 1000, last[2]), (last[0] / 1000, last[4])]):
        figure.add_annotation(name)
    figure.update_layout(margin={"b": 56})
    return Picture(
        id="funnel",
        title=funnel_title(found),
        description=say(
            "Funnel. Each dot is a unit, by its hours worked from left to right and its rate from bottom to top; "
            "diamonds lie beyond the inner, squares beyond the outer limits. The solid line is the whole facility, "
            "the dashed lines hold 95 in 100 units that differ by chance alone, the dotted ones 998 in 1,000; they "
            "come closer where hours are more. The table gives every number."
        ),
        figure=plain(figure),
        narrow={"annotations": [], "yaxis.title.text": "per 200,000 hours"},
        height=420,
        narrow_height=340,
    )


def _names(
    found: UnitFunnel, ends: tuple[float, float, float], taken: list[tuple[float, float]]
) -> list[dict[str, Any]]:
    """Names beside the dots, those beyond the limits first; a name that would overprint another is left out.

    ``ends``: left, right and top of the picture; ``taken``: places where words stand already. The hover and the table
    name every unit.
    """
    left, right, top = ends
    names = []
    short = shortened([unit.name for unit in found.units], _SHORT)
    for unit in sorted(found.units, key=lambda unit: unit.where == INSIDE):
        x, y = value_of(unit.hours) / 1000, value_of(unit.rate)
        is_left = x > right - _NAME_WIDE * (right - left)  # a name to the right of its dot would be cut
        middle = x + (-0.5 if is_left else 0.5) * _NAME_WIDE * (right - left)
        if any(
            abs(middle - there) < _NAME_WIDE * (right - left) and abs(y - height) < _NAME_TALL * top
            for there, height in taken
        ):
            continue
        taken.append((middle, y))
        names.append(
            note(safe(short[unit.name]), x=x, y=y, xanchor="right" if is_left else "left", yanchor="middle",
                 xshift=-9 if is_left else 9, size=12, color=INK, bgcolor="rgba(255,255,255,0.85)")
        )  # fmt: skip
    return names


def _hover(unit: FunnelUnit) -> str:
    return (
        f"{safe(unit.name)}<br>rate {unit.rate.shown}, {unit.events.shown} cases in {unit.hours.shown} hours"
        f"<br>95% limits {unit.lower_95.shown} to {unit.upper_95.shown}"
        f"<br>99.8% limits {unit.lower_998.shown} to {unit.upper_998.shown}"
    )


def table(found: UnitFunnel) -> Table | None:
    """Each unit's limits and where it lies, in alphabetical order."""
    if found.reason:
        return None
    notes = [
        "Limits are exact for counts around the facility's rate and fit the hours of each unit."
        + (" They are widened, because the units spread more than chance gives." if found.widened else "")
    ]
    if found.left_out:
        notes.append(f"Too few cases for a rate, and so not in the funnel: {listed(found.left_out)}.")
    return Table(
        f"Funnel: {SERIES_NAME[found.series]} by unit with limits of chance, per 200,000 hours",
        (
            Column("Unit (alphabetical)"),
            Column("Cases", "number"),
            Column("Hours", "number"),
            Column("Rate", "number"),
            Column("95% limits", "number"),
            Column("99.8% limits", "number"),
            Column("Lies"),
        ),
        tuple(
            (
                unit.name, unit.events, unit.hours, unit.rate, say(unit.lower_95, " to ", unit.upper_95),
                say(unit.lower_998, " to ", unit.upper_998),
                upper(unit.where) + ("" if unit.where == INSIDE else ", above" if unit.is_high else ", below"),
            )
            for unit in found.units
        ),
        tuple(notes),
    )  # fmt: skip
