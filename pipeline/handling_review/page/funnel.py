"""The funnel of units as sentence, picture and table."""

from __future__ import annotations

from typing import Any

from handling_review.evidence.unit_funnel import BEYOND_95, BEYOND_998, INSIDE, FunnelUnit, UnitFunnel
from handling_review.page.drawing import Drawing, scatter
from handling_review.page.house import (
    ACCENT,
    INK,
    NEUTRAL,
    WARNING,
    Picture,
    dots,
    named,
    note,
    plain,
    safe,
    value_of,
)
from handling_review.page.sentence import say
from handling_review.page.short_names import shortened
from handling_review.page.tables import Column, Table
from handling_review.page.words import funnel as words
from handling_review.page.words.rates import SERIES_NAME, upper

_SHORT = 18
_LINE = 15  # pixels of a label's height
_LETTER = 6.6  # pixels of a letter, about


def picture(found: UnitFunnel, whole: str = "facility") -> Picture | None:
    """Rates over hours with the limits around the rate of the ``whole``."""
    if found.reason or found.target is None:
        return None
    figure = Drawing()
    at = [point[0] / 1000 for point in found.curve]
    for place, dash in ((1, "dash"), (2, "dash"), (3, "dot"), (4, "dot")):
        figure.add_trace(
            scatter(
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
        note(f"{whole} {found.target}", x=at[0], y=value_of(found.target), xanchor="left", yanchor="bottom",
        color=INK),
        note("dashed: 95%", x=last[0] / 1000, y=last[2], xanchor="right", yanchor="bottom"),
        note("dotted: 99.8%", x=last[0] / 1000, y=last[4], xanchor="right", yanchor="bottom"),
    ]  # fmt: skip
    for label in labels:
        figure.add_annotation(label)
    tops = [point[2] for point in found.curve] + [value_of(u.rate) for u in found.units]
    top = min(max(point[4] for point in found.curve), max(tops) * 1.25) * 1.04
    for label in _names(found, (at[0], at[-1]), top, 1000, 320):
        figure.add_annotation(label)
    figure.update_yaxes(
        range=[0, top],
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
        narrow={
            "annotations": [*labels, *_names(found, (at[0], at[-1]), top, 210, 240)],
            "yaxis.title.text": "per 200,000 hours",
        },
        height=420,
        narrow_height=340,
    )


def _names(
    found: UnitFunnel, across: tuple[float, float], top: float, width: float, height: float
) -> list[dict[str, Any]]:
    """Names beside the dots, those beyond the limits first; a name that would cover another or a dot is left out.

    ``across``: thousand hours at the ends of the axis, ``top``: the highest rate on it; ``width`` and ``height`` of the
    axes in pixels. A name left out stands in the label of its dot and in the table.
    """
    place = {
        unit: (
            (value_of(unit.hours) / 1000 - across[0]) / (across[1] - across[0]) * width,
            value_of(unit.rate) / top * height,
        )
        for unit in found.units
    }
    taken = [(x - 6, y - 6, x + 6, y + 6) for x, y in place.values()]
    cut = _short([unit.name for unit in found.units])
    labels = []
    for unit in sorted(found.units, key=lambda one: ((BEYOND_998, BEYOND_95, INSIDE).index(one.where), one.name)):
        text = cut[unit.name]
        x, y = place[unit]
        long = _LETTER * 1.1 * len(text)
        for side, left in (("left", x + 8), ("right", x - 8 - long)):
            box = (left, y - _LINE / 2, left + long, y + _LINE / 2)
            free = not any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken)
            if free and left >= 0 and left + long <= width:
                taken.append(box)
                labels.append(
                    note(safe(text), x=value_of(unit.hours) / 1000, y=value_of(unit.rate), xanchor=side,
                         yanchor="middle", xshift=8 if side == "left" else -8, size=12, color=INK,
                         bgcolor="rgba(255,255,255,0.85)", borderpad=0)
                )  # fmt: skip
                break
    return labels


def _short(names: list[str]) -> dict[str, str]:
    """Names for the picture: without what follows a comma where that tells no two apart, and cut."""
    heads = {name: name.split(",")[0] for name in names}
    if len(set(heads.values())) < len(names):
        return shortened(names, _SHORT)
    cut = shortened(list(heads.values()), _SHORT)
    return {name: cut[head] for name, head in heads.items()}


def _hover(unit: FunnelUnit) -> str:
    return (
        f"{named(unit.name)}<br>rate {unit.rate.shown}, {unit.events.shown} cases in {unit.hours.shown} hours"
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
