"""Pictures of the answer: designs and other ways of asking as a forest, and the quarters with the line before."""

from __future__ import annotations

from collections.abc import Sequence

from handling_review.evidence.ladder import Rung
from handling_review.evidence.numbers import Number
from handling_review.evidence.unit_series import StartSeries
from handling_review.page.drawing import Drawing, scatter
from handling_review.page.figures_compare import forest
from handling_review.page.house import (
    ACCENT,
    INK,
    NEUTRAL,
    WARNING,
    Picture,
    dots,
    named,
    narrow_quarter_axis,
    note,
    plain,
    quarter_axis,
    safe,
    value_of,
)
from handling_review.page.sentence import Sentence
from handling_review.page.words import pictures as words_pictures
from handling_review.page.words.over_time import series_title

_BOUNDLESS = 1000.0  # times the highest rate seen: far off the picture


def rungs_picture(
    id: str, title: Sentence, items: Sequence[tuple[str, Rung]], target: float | None = None
) -> Picture | None:
    """Ratios with their ranges under each other, the main answer on top; ``None`` where there is no ratio at all."""
    if all(rung.ratio is None for _, rung in items):
        return None
    rows = [
        (
            label,
            rung.ratio,
            rung.few,
            f"{named(label)}<br>{rung.now_events.shown} cases with the program, {rung.then_events.shown} without",
        )
        for label, rung in items
    ]
    return forest(
        id,
        title,
        rows,
        target,
        sides="with ÷ without the program",
        description=words_pictures.RUNGS_DESCRIPTION,
    )


def series_picture(series: StartSeries) -> Picture:
    """Rates by quarter with the fitted line, and the line before carried on with its band."""
    figure = Drawing()
    points = series.points
    places = list(range(len(points)))

    def lines(numbers: Sequence[Number | None], **look: object) -> None:
        shown = [
            (i, value_of(n)) for i, n in zip(places, numbers, strict=True) if n is not None and n.value is not None
        ]
        if shown:
            figure.add_trace(
                scatter(x=[i for i, _ in shown], y=[v for _, v in shown], mode="lines", hoverinfo="skip", **look)
            )

    top = max([value_of(p.seen) for p in points if p.seen is not None] or [1.0]) or 1.0
    band = [
        (i, value_of(p.lower), min(value_of(p.upper), _BOUNDLESS * top))
        for i, p in zip(places, points, strict=True)
        if p.lower is not None and p.upper is not None
    ]
    if band:
        figure.add_trace(
            scatter(
                x=[i for i, _, _ in band] + [i for i, _, _ in reversed(band)],
                y=[high for _, _, high in band] + [low for _, low, _ in reversed(band)],
                fill="toself",
                fillcolor="rgba(86,98,109,0.18)",
                line={"width": 0},
                mode="lines",
                hoverinfo="skip",
            )
        )
    lines([p.had_nothing_changed for p in points], line={"color": NEUTRAL, "width": 2, "dash": "dash"})
    start = next((i for i, p in enumerate(points) if p.quarter == series.start), len(points))
    lines([p.fitted if i < start else None for i, p in enumerate(points)], line={"color": ACCENT, "width": 2})
    lines([p.fitted if i >= start else None for i, p in enumerate(points)], line={"color": ACCENT, "width": 2})
    seen = [(i, p) for i, p in enumerate(points) if p.seen is not None]
    figure.add_trace(
        dots(
            [i for i, _ in seen],
            [value_of(p.seen) for _, p in seen],
            hovertext=[f"{safe(p.quarter)}<br>rate {p.seen.shown}" for _, p in seen if p.seen is not None],
            hoverinfo="text",
        )
    )
    if 0 < start < len(points):
        figure.add_vline(x=start - 0.5, line={"color": WARNING, "width": 1.5, "dash": "dot"})
        figure.add_annotation(
            note("start", x=start - 0.5, y=1, yref="paper", yanchor="bottom", xanchor="center", color=WARNING)
        )
    if band:
        figure.add_annotation(
            note(
                "dashed: the line before, carried on",
                x=len(points) - 0.4,
                y=1,
                yref="paper",
                xanchor="right",
                yanchor="bottom",
                color=INK,
            )
        )
    quarters = [point.quarter for point in points]
    figure.update_xaxes(**quarter_axis(quarters))
    lines_drawn = [value_of(n) for p in points for n in (p.fitted, p.had_nothing_changed) if n and n.value is not None]
    highest = max([top, *lines_drawn, *(high for _, _, high in band)])
    figure.update_yaxes(
        range=[0, 1.05 * min(highest, 4 * top)],  # a very wide band runs off the picture
        title={"text": "cases per 200,000 hours", "standoff": 8},
    )
    return Picture(
        id="around-start",
        title=series_title(series),
        description=words_pictures.AROUND_START_DESCRIPTION,
        figure=plain(figure),
        narrow={"annotations": [], **narrow_quarter_axis(quarters)},
        height=340,
        narrow_height=320,
    )
