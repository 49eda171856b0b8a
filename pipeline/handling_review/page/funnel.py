"""The funnel of units as sentence, picture and table."""

from __future__ import annotations

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
from handling_review.page.sentence import say
from handling_review.page.tables import Column, Table
from handling_review.page.words import funnel as words
from handling_review.page.words.rates import SERIES_NAME, upper

_SHORT = 18


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
    for unit in found.units:
        figure.add_annotation(
            note(safe(_short(unit.name)), x=value_of(unit.hours) / 1000, y=value_of(unit.rate), xanchor="left",
                 yanchor="middle", xshift=9, size=12, color=INK)
        )  # fmt: skip
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
    figure.update_layout(margin={"b": 56})
    return Picture(
        id="funnel",
        title=words.funnel_title(found),
        description=words.FUNNEL_DESCRIPTION,
        figure=plain(figure),
        narrow={"annotations": [], "yaxis.title.text": "per 200,000 hours"},
        height=420,
        narrow_height=340,
    )


def _short(name: str) -> str:
    head = name.split(",")[0]
    return head if len(head) <= _SHORT else head[: _SHORT - 1] + "…"


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
    notes = [words.LIMITS_NOTE + (words.WIDENED_NOTE if found.widened else "")]
    if found.left_out:
        notes.append(words.left_out_note(found))
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
