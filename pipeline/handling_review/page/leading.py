"""Figures that may move before injuries do, side by side with the injuries two quarters later."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from handling_review.evidence.audits import LeadingEvidence, LeadingRow
from handling_review.evidence.quarters import previous
from handling_review.page.audits import percent, step_hover
from handling_review.page.drawing import Drawing
from handling_review.page.house import (
    INK,
    RULE,
    Picture,
    dots,
    hover,
    narrow_quarter_axis,
    note,
    plain,
    point_of,
    quarter_axis,
    value_of,
    whiskers,
)
from handling_review.page.numbered import Counter, Finding
from handling_review.page.tables import Cell, Column, Table, estimate_range, interval
from handling_review.page.words import leading as words
from handling_review.page.words.notes import PROVISIONAL, PROVISIONAL_MARK
from handling_review.page.words.rates import SERIES_NAME, upper

_NARROW_TITLE = 34  # characters of a bold name on one line of a small screen
_HEADROOM = 1.32  # the name of a small chart stands above its highest whisker


@dataclass(frozen=True)
class _Panel:
    """One small chart: places of its points with estimate and ends, which are hollow, and the top of its axis."""

    title: str
    short: str
    points: tuple[tuple[int, tuple[float, float, float], bool, str], ...]
    is_share: bool


def _axis(found: LeadingEvidence) -> list[str]:
    """Every quarter from the first complete one to the last, those between that are not complete too."""
    axis = [found.rows[-1].quarter]
    while axis[0] != found.rows[0].quarter:
        axis.insert(0, previous(axis[0], 1))
    return axis


def _panels(found: LeadingEvidence, axis: Sequence[str]) -> list[_Panel]:
    placed = [(axis.index(row.quarter), row) for row in found.rows]
    later, name = words.later(), SERIES_NAME[found.series]
    coverage = [
        (at, (100 * value_of(row.coverage),) * 3, False, f"{row.quarter}<br>current training: {row.coverage} of hours")
        for at, row in placed
        if row.coverage is not None
    ]
    audits = [
        (at, percent(row.audits.share), False, step_hover("all audited steps", row.quarter, row.audits, judged=False))
        for at, row in placed
        if row.audits is not None and row.audits.share is not None
    ]
    first_aid = [
        (at, point, row.is_provisional, hover(row.first_aid, f"{row.quarter}, first aid", hours=False))
        for at, row in placed
        if (point := point_of(row.first_aid)) is not None
    ]
    injuries = [
        (
            at,
            point,
            row.later_is_provisional,
            hover(row.injuries, f"{row.later_quarter}, {later} than {row.quarter}", hours=False),
        )
        for at, row in placed
        if row.injuries is not None and (point := point_of(row.injuries)) is not None
    ]
    panels = [
        _Panel("Share of hours worked with current training", "Hours with current training", tuple(coverage), True)
    ]
    if found.has_audits:
        panels.append(_Panel("Share of audited steps done as taught", "Steps done as taught", tuple(audits), True))
    return [
        *panels,
        _Panel("First-aid cases per 200,000 hours", "First-aid cases per 200,000 h", tuple(first_aid), False),
        _Panel(f"{upper(name)} per 200,000 hours, {later}", f"{upper(name)} {later}", tuple(injuries), False),
    ]


def picture(found: LeadingEvidence) -> Picture | None:
    """Small charts one under another on one quarter axis, each with its own name and its own scale."""
    if not found.rows:
        return None
    axis = _axis(found)
    panels = _panels(found, axis)
    figure = Drawing(len(panels), spacing=0.05)
    titles: list[dict[str, Any]] = []
    short: list[dict[str, Any]] = []
    narrow: dict[str, Any] = {}
    for row, panel in enumerate(panels, start=1):
        ends = [point for _, point, _, _ in panel.points]
        figure.add_trace(
            dots(
                [at for at, _, _, _ in panel.points],
                [point for point, _, _ in ends],
                symbols=["circle-open" if is_hollow else "circle" for _, _, is_hollow, _ in panel.points],
                error_y=whiskers(ends) if row > 1 else None,
                hovertext=[text for _, _, _, text in panel.points],
                hoverinfo="text",
            ),
            row=row,
        )
        top = 100.0 if panel.is_share else max((high for _, _, high in ends), default=1.0) or 1.0
        marks = [0.0, 50.0, 100.0] if panel.is_share else round_marks(top)
        figure.update_yaxes(
            range=[0, top * _HEADROOM],
            tickvals=marks,
            ticktext=[f"{mark:g}{'%' if panel.is_share else ''}" for mark in marks],
            row=row,
        )
        where = {"x": 0, "xref": "paper", "xanchor": "left", "y": 1, "yanchor": "top"}
        where |= {"yref": f"y{row if row > 1 else ''} domain", "color": INK}
        titles.append(note(f"<b>{panel.title}</b>", **where))
        lines = textwrap.wrap(panel.short, _NARROW_TITLE)
        short.append(note(f"<b>{'<br>'.join(lines)}</b>", size=12, align="left", **where))
        narrow[f"yaxis{row if row > 1 else ''}.range"] = [0, top * (_HEADROOM + 0.3 * (len(lines) - 1))]
    bands = _bands(figure, found, axis, len(panels))
    figure.update_traces(marker={"size": 7})  # larger ones would cover their own whiskers
    figure.update_xaxes(**quarter_axis(axis))
    for row in range(1, len(panels)):
        figure.update_xaxes(ticks="", row=row)
    figure.update_layout(margin={"t": 8})
    for one in (*bands, *titles):
        figure.add_annotation(one)
    narrow["annotations"] = [*bands, *short]
    for row in range(1, len(panels) + 1):
        narrow |= narrow_quarter_axis(axis, f"xaxis{row if row > 1 else ''}")
    return Picture(
        id="leading",
        title=words.title(found),
        description=words.description(found),
        figure=plain(figure),
        narrow=narrow,
        height=60 + 130 * len(panels),
        narrow_height=60 + 120 * len(panels),
    )


def round_marks(top: float) -> list[float]:
    """Marks of an axis from 0, at most four steps of 1, 2 or 5 times a power of ten; none where the name stands."""
    power = 10.0 ** math.floor(math.log10(top))
    step = next(size * power for size in (0.2, 0.5, 1, 2, 5) if top / (size * power) <= 4)
    return [round(step * at, 6) for at in range(int(top / step + 1e-9) + 1)]


def _bands(figure: Drawing, found: LeadingEvidence, axis: Sequence[str], panels: int) -> list[dict[str, Any]]:
    """Grey where a quarter is not complete, and on the last chart where the later quarter is not; gives the words."""
    whole = {row.quarter for row in found.rows}
    words = []
    for at, quarter in enumerate(axis):
        if quarter not in whole:
            figure.add_vrect(x0=at - 0.5, x1=at + 0.5, fillcolor=RULE, opacity=0.6)
    blank = [axis.index(row.quarter) for row in found.rows if row.injuries is None]
    domain = f"y{panels} domain" if panels > 1 else "y domain"
    for at in blank:
        figure.add_vrect(x0=at - 0.5, x1=at + 0.5, fillcolor=RULE, opacity=0.6, row=panels)
        words.append(
            note("not known", x=at, y=0.02, yref=domain, yanchor="bottom", textangle=-90, color=INK, size=11)
            | {"xref": f"x{panels}" if panels > 1 else "x"}
        )
    return words


def table(found: LeadingEvidence) -> Table | None:
    """One row for each complete quarter."""
    if not found.rows:
        return None
    audits = (Column("Steps done as taught", "number"), Column("Likely between", "number")) if found.has_audits else ()
    is_open = any(row.is_provisional or row.later_is_provisional for row in found.rows)
    return Table(
        f"Early figures by quarter, and {SERIES_NAME[found.series]} {words.later()}; rates per 200,000 hours",
        (
            Column("Quarter", "label"),
            Column("Hours with current training", "number"),
            *audits,
            Column("First-aid cases", "number"),
            Column("First-aid rate", "number"),
            Column("Likely between", "number"),
            Column("Later quarter", "label"),
            Column("Cases", "number"),
            Column("Rate", "number"),
            Column("Likely between", "number"),
        ),
        tuple(_leading_cells(row, found.has_audits) for row in found.rows),
        (PROVISIONAL,) if is_open else (),
    )


def _leading_cells(row: LeadingRow, has_audits: bool) -> tuple[Cell, ...]:
    share = row.audits.share if row.audits else None
    audits: tuple[Cell, ...] = (share.value if share else "", estimate_range(share)) if has_audits else ()
    injuries: tuple[Cell, ...] = ("", "", row.not_known)
    if row.injuries is not None:
        injuries = (row.injuries.events, row.injuries.rate, interval(row.injuries))
    return (
        _marked(row.quarter, row.is_provisional),
        row.coverage or "",
        *audits,
        row.first_aid.events,
        row.first_aid.rate,
        interval(row.first_aid),
        _marked(row.later_quarter, row.later_is_provisional and row.injuries is not None),
        *injuries,
    )


def _marked(quarter: str, is_provisional: bool) -> str:
    return f"{quarter}\u00a0{PROVISIONAL_MARK}" if is_provisional else quarter


def finding(found: LeadingEvidence, count: Counter) -> Finding:
    """The numbered finding on figures that may move before injuries do."""
    shown = table(found)
    return count.finding(
        "leading",
        "Signs that may come before injuries",
        words.sentences(found),
        picture(found) if len(found.rows) > 1 else None,
        () if shown is None else (shown,),
        words.HOW,
    )
