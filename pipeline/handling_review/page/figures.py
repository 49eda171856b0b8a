"""Pictures over time: rates by quarter and training coverage."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import plotly.graph_objects as go

from handling_review.evidence.assemble import Review
from handling_review.evidence.measure import Rate
from handling_review.evidence.rates import Span
from handling_review.evidence.training import STATUSES
from handling_review.page.house import (
    ACCENT,
    INK,
    NEUTRAL,
    RULE,
    TEMPLATE,
    WARNING,
    Picture,
    dots,
    hover,
    note,
    plain,
    safe,
    value_of,
    whiskers,
)
from handling_review.page.sentence import Sentence, say
from handling_review.page.tables_data import letter
from handling_review.page.words import SERIES_NAME, rates_title, upper
from handling_review.page.words_data import coverage_title

_MOST_LABELLED_STARTS = 8  # more program starts than this would overprint each other


def _quarter_axis(quarters: Sequence[str]) -> dict[str, Any]:
    """Positions 0, 1, 2, ... with the year under each first quarter and at the start."""
    texts = [
        f"{quarter[5:]}<br>{quarter[:4]}" if quarter.endswith("Q1") or index == 0 else quarter[5:]
        for index, quarter in enumerate(quarters)
    ]
    return {
        "tickvals": list(range(len(quarters))),
        "ticktext": texts,
        "tickangle": 0,
        "range": [-0.6, len(quarters) - 0.4],
    }


def _narrow_axis(quarters: Sequence[str]) -> dict[str, Any]:
    """Only the years, where there is no room for quarters."""
    firsts = [index for index, quarter in enumerate(quarters) if quarter.endswith("Q1")]
    return {"xaxis.tickvals": firsts, "xaxis.ticktext": [quarters[index][:4] for index in firsts]}


def _position(day: date, spans: Sequence[Span]) -> float | None:
    """Where a day lies on the quarter axis; ``None`` outside it."""
    for index, span in enumerate(spans):
        if span.start <= day <= span.end:
            length = (span.end - span.start).days + 1
            return index - 0.5 + (day - span.start).days / length
    return None


def _point(rate: Rate) -> tuple[float, float, float] | None:
    """Estimate, lower and upper end of one rate; with no case the limit is the upper end."""
    if rate.rate is None:
        return None
    if rate.limit is not None:
        return 0.0, 0.0, value_of(rate.limit)
    return value_of(rate.rate), value_of(rate.lower), value_of(rate.upper)


def _add_rates(figure: go.Figure, spans: Sequence[Span], series: str, color: str, **place: Any) -> None:
    """Quarter rates as dots with whiskers: hollow while provisional, absent when withheld."""
    shown = [(i, span, point) for i, span in enumerate(spans) if (point := _point(span.of(series)))]
    if not shown:
        return
    values = [[point[k] for _, _, point in shown] for k in range(3)]
    figure.add_trace(
        dots(
            [i for i, _, _ in shown],
            values[0],
            color=color,
            symbols=["circle-open" if span.is_provisional else "circle" for _, span, _ in shown],
            error_y=whiskers(*values, color=color),
            hovertext=[hover(span.of(series), span.quarter) for _, span, _ in shown],
            hoverinfo="text",
        ),
        **place,
    )


def _add_rolling(figure: go.Figure, review: Review, series: str, **place: Any) -> None:
    """The rate over four quarters as a line, broken where a quarter is incomplete."""
    index = {span.quarter: i for i, span in enumerate(review.rates.quarters)}
    spans = [(index[s.quarter], s.of(series)) for s in review.rates.rolling]
    figure.add_trace(
        go.Scatter(
            x=[i for i, _ in spans],
            y=[None if rate.rate is None else value_of(rate.rate) for _, rate in spans],
            mode="lines",
            line={"color": NEUTRAL, "width": 2.5, "dash": "solid"},
            connectgaps=False,
            hovertext=[hover(rate, "four quarters together") for _, rate in spans],
            hoverinfo="text",
        ),
        **place,
    )


def _gaps(figure: go.Figure, spans: Sequence[Span]) -> None:
    """A hatched-looking band and a word where a quarter has no rate."""
    for index, span in enumerate(spans):
        if not span.is_complete:
            figure.add_vrect(x0=index - 0.5, x1=index + 0.5, fillcolor=RULE, opacity=0.55, line_width=0)
            figure.add_annotation(note("no rate", x=index, y=0.5, yref="paper", textangle=-90, color=INK, size=12))


def rates_picture(review: Review) -> Picture:
    """The primary series by quarter with intervals, the four-quarter line, program starts and diary marks."""
    spans, series = review.rates.quarters, review.series
    quarters = [span.quarter for span in spans]
    figure = go.Figure(layout={"template": TEMPLATE})
    _gaps(figure, spans)
    starts: dict[date, list[str]] = {}
    for row in review.units.rows:
        if row.program_start is not None:
            starts.setdefault(row.program_start, []).append(row.name)
    for step, (day, names) in enumerate(sorted(starts.items())):
        here = _position(day, spans)
        if here is None:
            continue
        figure.add_vline(x=here, line={"color": WARNING, "width": 1.5, "dash": "dot"})
        if len(starts) <= _MOST_LABELLED_STARTS:
            label = safe(", ".join(names)) + " starts"
            figure.add_annotation(
                note(label, x=here, y=1.0 - 0.065 * step, yref="paper", yanchor="top",
                     xanchor="left", color=WARNING, size=12, bgcolor="rgba(255,255,255,0.8)")
            )  # fmt: skip
    for order, entry in enumerate(review.diary):
        here = _position(entry.date, spans)
        if here is not None:
            figure.add_annotation(
                note(letter(order), x=here, y=0.0, yref="paper", yanchor="bottom", color=INK, size=11,
                     bordercolor=NEUTRAL, borderpad=1, bgcolor="#ffffff")
            )  # fmt: skip
    _add_rolling(figure, review, series)
    _add_rates(figure, spans, series, ACCENT)
    figure.update_xaxes(_quarter_axis(quarters))
    figure.update_yaxes(rangemode="tozero", title={"text": ""})
    figure.add_annotation(
        note("cases per 200,000 hours", x=0, y=1.0, xref="paper", yref="paper", xanchor="left", yanchor="bottom")
    )
    last = next((s for s in reversed(review.rates.rolling) if s.of(series).rate is not None), None)
    if last is not None:
        figure.add_annotation(
            note("four quarters<br>together", x=quarters.index(last.quarter), y=value_of(last.of(series).rate),
                 xanchor="right", yanchor="bottom", yshift=4, xshift=-10, align="right",
                 bgcolor="rgba(255,255,255,0.8)")
        )  # fmt: skip
    return Picture(
        id="rates",
        title=rates_title(review.rates, series),
        description=_rates_description(review, series),
        figure=plain(figure),
        narrow=_narrow_axis(quarters),
        height=420,
        narrow_height=340,
    )


def _rates_description(review: Review, series: str) -> Sentence:
    shown = [(span, span.of(series).rate) for span in review.rates.quarters if span.of(series).rate]
    if not shown:
        return say("Time chart without points: no quarter is complete.")
    low = min(shown, key=lambda item: value_of(item[1]))
    high = max(shown, key=lambda item: value_of(item[1]))
    assert low[1] is not None
    assert high[1] is not None
    return say(
        f"Time chart. Each dot is the rate of {SERIES_NAME[series]} in one quarter with its likely range as a "
        f"vertical line; the lowest is ", low[1], f" in {low[0].quarter}, the highest ", high[1],
        f" in {high[0].quarter}. A grey line joins the rates over four quarters together. Dotted vertical lines "
        "mark program starts, boxed letters the diary. The table gives every number.",
    )  # fmt: skip


def series_picture(review: Review) -> Picture:
    """All recordable, DART and days-away cases by quarter, one panel each, on a common time axis."""
    from plotly.subplots import make_subplots

    spans = review.rates.quarters
    quarters = [span.quarter for span in spans]
    names = ("recordable", "dart", "days_away")
    figure = make_subplots(rows=3, cols=1, shared_xaxes=True, vertical_spacing=0.09)
    figure.update_layout(template=TEMPLATE)
    for row, series in enumerate(names, start=1):
        _add_rolling(figure, review, series, row=row, col=1)
        _add_rates(figure, spans, series, ACCENT, row=row, col=1)
        figure.add_annotation(
            note(f"<b>{upper(SERIES_NAME[series])}</b>", x=0, y=1.0, xref="paper", xanchor="left",
                 yref=f"y{row if row > 1 else ''} domain", yanchor="bottom", color=INK)
        )  # fmt: skip
    figure.update_xaxes(_quarter_axis(quarters))
    figure.update_yaxes(rangemode="tozero")
    narrow = {
        key.replace("xaxis", f"xaxis{row if row > 1 else ''}"): value
        for row in (1, 2, 3)
        for key, value in _narrow_axis(quarters).items()
    }
    return Picture(
        id="series",
        title=say("All recordable, DART and days-away injuries by quarter"),
        description=say(
            "Three time charts under each other, all recordable injuries, DART injuries and injuries with days away, "
            "each with dots for quarters, vertical lines for the likely range, and a grey line for four quarters "
            "together. The tables give every number."
        ),
        figure=plain(figure),
        narrow=narrow,
        height=560,
        narrow_height=520,
    )


def coverage_picture(review: Review) -> Picture:
    """Shares of worked hours by training status over the quarters, named at the end of each line."""
    rows = review.training.quarters
    quarters = [row.name for row in rows]
    figure = go.Figure(layout={"template": TEMPLATE})
    for status, name, color, dash, symbol in (
        ("current", "current", ACCENT, "solid", "circle"),
        ("lapsed", "lapsed", WARNING, "dash", "diamond"),
        ("unknown", "not known", NEUTRAL, "dot", "square-open"),
    ):
        where = STATUSES.index(status)
        values = [100 * value_of(row.shares[where]) if row.shares else None for row in rows]
        if not any(values):
            continue
        figure.add_trace(
            go.Scatter(
                x=list(range(len(rows))),
                y=values,
                mode="lines+markers",
                line={"color": color, "dash": dash, "width": 2.5},
                marker={"symbol": symbol, "size": 8, "color": color},
                hovertext=[
                    f"{safe(row.label)}<br>{name}: {row.shares[where].shown} of {row.total.shown} hours"
                    if row.shares
                    else ""
                    for row in rows
                ],
                hoverinfo="text",
                connectgaps=False,
            )
        )
        last = max(i for i, value in enumerate(values) if value is not None)
        figure.add_annotation(note(name, x=last, y=values[last], xanchor="left", xshift=10, color=color, size=13))
    axis = _quarter_axis(quarters)
    axis["range"] = [-0.6, len(quarters) + 0.9]
    figure.update_xaxes(axis)
    figure.update_yaxes(range=[0, 104], ticksuffix="%", dtick=25)
    return Picture(
        id="coverage",
        title=coverage_title(review.training),
        description=say(
            "Line chart of the share of hours worked, quarter by quarter: staff with current training (solid line, "
            "dots), with lapsed training (dashed, diamonds) and with training not known (dotted, squares). The "
            "table gives every share."
        ),
        figure=plain(figure),
        narrow=_narrow_axis(quarters),
        height=340,
        narrow_height=300,
    )
