"""Pictures of the control charts: the facility's, with each unit's to be picked in its place."""

from __future__ import annotations

from handling_review.evidence.assemble import Review
from handling_review.evidence.control import Chart, ChartPoint, Wait
from handling_review.page.drawing import Drawing, scatter
from handling_review.page.house import (
    ACCENT,
    INK,
    NEUTRAL,
    WARNING,
    Picture,
    dots,
    note,
    plain,
    safe,
    value_of,
)
from handling_review.page.time_axis import TimeAxis, add_context, for_narrow
from handling_review.page.words import watch as words
from handling_review.page.words.watch import chart_title, signal_words

_HEIGHT, _NARROW = 340, 320


def charts_picture(review: Review) -> Picture | None:
    """The facility's chart; each unit's that can be drawn stands among its choices."""
    units = review.watch.units if len(review.watch.units) > 1 else ()  # a single unit's chart is the facility's
    drawable = [chart for chart in (review.watch.facility, *units) if not chart.reason]
    if not drawable:
        return None
    found = [
        _picture(review, chart, "signals" if at == 0 else f"signals-{at}", at == 0) for at, chart in enumerate(drawable)
    ]
    first = found[0]
    if len(found) == 1:
        return first
    return Picture(
        first.id, first.title, first.description, first.figure, first.narrow, first.height, first.narrow_height,
        choices=tuple(found[1:]), picker="Show the chart of", name=first.name,
    )  # fmt: skip


def _picture(review: Review, chart: Chart, id: str, is_first: bool) -> Picture:
    return _waits(chart, id) if chart.kind == "days_between" else _rates(review, chart, id, is_first)


def _rates(review: Review, chart: Chart, id: str, is_first: bool) -> Picture:
    axis = TimeAxis(review.rates.quarters)
    places = {quarter: at for at, quarter in enumerate(axis.quarters)}
    is_whole = chart.place == "facility"
    figure = Drawing()
    unit = None if is_whole else chart.name
    add_context(figure, review, axis, unit=unit)
    at = [places[point.quarter] for point in chart.points]
    for ends in ([value_of(p.lower) for p in chart.points], [value_of(p.upper) for p in chart.points]):
        figure.add_trace(
            scatter(
                x=at,
                y=ends,
                mode="lines",
                line={"color": NEUTRAL, "width": 1.5, "dash": "dot", "shape": "hvh"},
                hoverinfo="skip",
            )
        )
    figure.add_trace(
        scatter(
            x=at,
            y=[value_of(p.rate) for p in chart.points],
            mode="lines",
            line={"color": ACCENT, "width": 1},
            hoverinfo="skip",
        )
    )
    figure.add_hline(y=value_of(chart.centre), line={"color": INK, "width": 1.5})
    for chosen, symbol, color in (
        ([p for p in chart.points if not p.signals], "circle", ACCENT),
        ([p for p in chart.points if p.signals], "square", WARNING),
    ):
        if chosen:
            figure.add_trace(
                dots(
                    [places[p.quarter] for p in chosen],
                    [value_of(p.rate) for p in chosen],
                    color=color,
                    symbols=[f"{symbol}-open" if p.is_provisional else symbol for p in chosen],
                    hovertext=[_point_hover(p) for p in chosen],
                    hoverinfo="text",
                )
            )
    _name_lines(figure, chart, len(axis.quarters) - 0.5)
    figure.update_xaxes(**axis.wide())
    figure.update_yaxes(rangemode="tozero", title={"text": "cases per 200,000 hours", "standoff": 8})
    drawn = plain(figure)
    return Picture(
        id=id,
        title=chart_title(chart, review.watch.series),
        description=words.rates_description(is_whole, chart),
        figure=drawn,
        narrow={
            **axis.narrow(),
            "annotations": for_narrow(drawn, review, axis, unit),
            "yaxis.title.text": "per 200,000 hours",
        },
        height=_HEIGHT,
        narrow_height=_NARROW,
        name=chart.name,
    )  # fmt: skip


def _point_hover(point: ChartPoint) -> str:
    text = f"{point.quarter}<br>rate {point.rate.shown}, {point.events.shown} cases"
    text += f"<br>limits {point.lower.shown} to {point.upper.shown}"
    return text + "".join(f"<br>{words}" for words in signal_words(point.signals))


def _name_lines(figure: Drawing, chart: Chart, right: float) -> None:
    """Names at the right end: the centre with its value above its line, the limits at theirs."""
    upper = value_of(chart.upper if chart.waits else chart.points[-1].upper)
    figure.add_annotation(
        note(f"centre {chart.centre}", x=right, y=value_of(chart.centre), xanchor="right", yanchor="bottom", color=INK)
    )
    figure.add_annotation(
        note("dotted: limits of chance", x=right, y=upper, xanchor="right", yanchor="bottom", yshift=4)
    )


def _waits(chart: Chart, id: str) -> Picture:
    """Days from each case to the next, in the order of the cases; the open wait is hollow."""
    figure = Drawing()
    at = list(range(len(chart.waits)))
    days = [value_of(wait.days) for wait in chart.waits]
    for end in (chart.lower, chart.upper):
        figure.add_hline(y=value_of(end), line={"color": NEUTRAL, "width": 1.5, "dash": "dot"})
    figure.add_hline(y=value_of(chart.centre), line={"color": INK, "width": 1.5})
    figure.add_trace(scatter(x=at, y=days, mode="lines", line={"color": ACCENT, "width": 1}, hoverinfo="skip"))
    for chosen, symbol, color in (
        ([i for i in at if not chart.waits[i].signals], "circle", ACCENT),
        ([i for i in at if chart.waits[i].signals], "square", WARNING),
    ):
        if chosen:
            figure.add_trace(
                dots(
                    chosen,
                    [days[i] for i in chosen],
                    color=color,
                    symbols=[f"{symbol}-open" if chart.waits[i].is_open else symbol for i in chosen],
                    hovertext=[_wait_hover(chart.waits[i]) for i in chosen],
                    hoverinfo="text",
                )
            )
    _name_lines(figure, chart, len(at) - 0.4)
    shown = at if len(at) <= 16 else at[:: -(-len(at) // 12)]
    figure.update_xaxes(
        tickvals=shown,
        ticktext=["now" if chart.waits[i].is_open else str(chart.waits[i].position) for i in shown],
        range=[-0.6, len(at) - 0.3],
        title={"text": "case, in order", "standoff": 6},
    )
    top = max([*days, value_of(chart.upper)])
    figure.update_yaxes(range=[0, top * 1.15], title={"text": "days since the case before", "standoff": 8})
    few = at[:: max(1, -(-len(at) // 5))]
    return Picture(
        id=id,
        title=chart_title(chart, ""),
        description=words.waits_description(chart),
        figure=plain(figure),
        narrow={
            "yaxis.title.text": "days",
            "annotations": [],
            "xaxis.tickvals": few,
            "xaxis.ticktext": ["now" if chart.waits[i].is_open else str(chart.waits[i].position) for i in few],
        },
        height=_HEIGHT,
        narrow_height=_NARROW,
        name=chart.name,
    )


def _wait_hover(wait: Wait) -> str:
    text = f"at least {wait.days.shown} days without a case so far" if wait.is_open else f"{wait.days.shown} days"
    return text + "".join(f"<br>{safe(words)}" for words in signal_words(wait.signals))
