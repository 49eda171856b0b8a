"""Pictures over time: rates by quarter, training coverage, and the mix of cases by year."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from handling_review.evidence.assemble import Review
from handling_review.evidence.rates import Span
from handling_review.evidence.reporting import MixYear
from handling_review.evidence.training import STATUSES, Coverage
from handling_review.page.drawing import Drawing, scatter
from handling_review.page.house import (
    ACCENT,
    INK,
    NEUTRAL,
    WARNING,
    Picture,
    dots,
    hover,
    named,
    note,
    plain,
    point_of,
    value_of,
    whiskers,
)
from handling_review.page.marks import starts
from handling_review.page.time_axis import MOST_LABELLED_STARTS, TimeAxis, add_context, for_narrow
from handling_review.page.words import pictures as words_pictures
from handling_review.page.words.data import coverage_title, mix_title
from handling_review.page.words.rates import SERIES_NAME, rates_title, upper

_NAMES = 84  # pixels on the right for the names of lines


def _add_rates(figure: Drawing, spans: Sequence[Span], series: str, **place: Any) -> float:
    """Quarter rates with whiskers, hollow while provisional, absent when withheld; gives the highest end."""
    shown = [(i, span, point) for i, span in enumerate(spans) if (point := point_of(span.of(series)))]
    if not shown:
        return 1.0
    ends = [point for _, _, point in shown]
    figure.add_trace(
        dots(
            [i for i, _, _ in shown],
            [point for point, _, _ in ends],
            symbols=["circle-open" if span.is_provisional else "circle" for _, span, _ in shown],
            error_y=whiskers(ends),
            hovertext=[hover(span.of(series), span.quarter) for _, span, _ in shown],
            hoverinfo="text",
        ),
        **place,
    )
    return max(high for _, _, high in ends)


def _add_rolling(figure: Drawing, review: Review, series: str, **place: Any) -> None:
    """The rate over four quarters as a line, broken where a quarter is incomplete."""
    index = {span.quarter: i for i, span in enumerate(review.rates.quarters)}
    spans = [(index[s.quarter], s.of(series)) for s in review.rates.rolling]
    figure.add_trace(
        scatter(
            x=[i for i, _ in spans],
            y=[None if rate.rate is None else value_of(rate.rate) for _, rate in spans],
            mode="lines",
            line={"color": NEUTRAL, "width": 2.5},
            connectgaps=False,
            hovertext=[hover(span.of(series), f"four quarters to {span.quarter}") for span in review.rates.rolling],
            hoverinfo="text",
        ),
        **place,
    )


def rates_picture(review: Review) -> Picture:
    """The primary series by quarter with intervals, the four-quarter line, program starts and diary marks."""
    axis, series = TimeAxis(review.rates.quarters), review.series
    figure = Drawing()
    add_context(figure, review, axis, labelled=True)
    _add_rolling(figure, review, series)
    top = _add_rates(figure, axis.spans, series)
    figure.update_xaxes(**axis.wide())
    # A third of the height above the highest whisker is for the names of the program starts.
    labelled = 0 < len(starts(review)) <= MOST_LABELLED_STARTS
    figure.update_yaxes(
        range=[0, top * (1.33 if labelled else 1.06)], title={"text": "cases per 200,000 hours", "standoff": 8}
    )
    figure.update_layout(margin={"r": _NAMES})
    last = next((s for s in reversed(review.rates.rolling) if s.of(series).rate is not None), None)
    if last is not None:
        figure.add_annotation(
            note("four<br>quarters<br>together", x=axis.quarters.index(last.quarter), xshift=12, xanchor="left",
                 y=value_of(last.of(series).rate), yanchor="middle", align="left")
        )  # fmt: skip
    drawn = plain(figure)
    return Picture(
        id="rates",
        title=rates_title(review.rates, series),
        description=words_pictures.rates_description(review, series),
        figure=drawn,
        narrow={
            **axis.narrow(),
            "annotations": for_narrow(drawn, review, axis),
            "yaxis.range": [0, top * 1.06],
            "yaxis.title.text": "per 200,000 hours",
            "margin.r": 16,
        },
        height=430,
        narrow_height=330,
    )


def series_picture(review: Review) -> Picture:
    """All recordable, DART and days-away cases by quarter, one panel each, on a common time axis."""
    axis = TimeAxis(review.rates.quarters)
    names = ("recordable", "dart", "days_away")
    figure = Drawing(3, spacing=0.09)
    add_context(figure, review, axis, rows=3)
    for row, series in enumerate(names, start=1):
        _add_rolling(figure, review, series, row=row)
        top = _add_rates(figure, axis.spans, series, row=row)
        figure.update_yaxes(range=[0, top * 1.06], nticks=5, row=row)
        domain = "y domain" if row == 1 else f"y{row} domain"
        figure.add_annotation(
            note(f"<b>{upper(SERIES_NAME[series])}</b> per 200,000 hours", x=0, y=1.02, xref="paper", yref=domain,
                 xanchor="left", yanchor="bottom", color=INK)
        )  # fmt: skip
    figure.update_xaxes(**axis.wide())
    drawn = plain(figure)
    narrow: dict[str, Any] = {"annotations": for_narrow(drawn)}
    for name in ("xaxis", "xaxis2", "xaxis3"):
        narrow |= axis.narrow(name)
    return Picture(
        id="series",
        title=words_pictures.kinds_title(review.rates.recent),
        description=words_pictures.KINDS_DESCRIPTION,
        figure=drawn,
        narrow=narrow,
        height=580,
        narrow_height=520,
    )


_LINES = (
    ("current", "current", ACCENT, "solid", "circle"),
    ("lapsed", "lapsed", WARNING, "dash", "diamond"),
    ("unknown", "not known", NEUTRAL, "dot", "square-open"),
)


def coverage_picture(review: Review) -> Picture:
    """Shares of worked hours by training status over the quarters, named at the end of each line."""
    rows, axis = review.training.quarters, TimeAxis(review.rates.quarters)
    figure = Drawing()
    add_context(figure, review, axis)
    ends: list[tuple[float, int, str, str]] = []
    for status, name, color, dash, symbol in _LINES:
        values = _shares(rows, status)
        if not any(values):
            continue
        figure.add_trace(
            scatter(
                x=list(range(len(rows))),
                y=values,
                mode="lines+markers",
                line={"color": color, "dash": dash, "width": 2.5},
                marker={"symbol": symbol, "size": 8, "color": color},
                cliponaxis=False,
                hovertext=[_share_text(row, status, name) for row in rows],
                hoverinfo="text",
                connectgaps=False,
            )
        )
        last = max(i for i, value in enumerate(values) if value is not None)
        ends.append((values[last] or 0.0, last, name, color))
    floor = -100.0
    for height, last, name, color in sorted(ends):
        floor = max(height, floor + 8)  # names keep clear of each other
        figure.add_annotation(note(name, x=last, y=floor, xanchor="left", xshift=10, color=color))
    figure.update_xaxes(**axis.wide())
    figure.update_yaxes(range=[0, 104], ticksuffix="%", dtick=25)
    figure.update_layout(margin={"r": _NAMES})
    drawn = plain(figure)
    return Picture(
        id="coverage",
        title=coverage_title(review.training),
        description=words_pictures.COVERAGE_DESCRIPTION,
        figure=drawn,
        narrow={**axis.narrow(most=4), "annotations": [*for_narrow(drawn, review, axis), *_line_names(drawn)]},
        height=340,
        narrow_height=300,
    )


def _line_names(figure: dict[str, Any]) -> list[dict[str, Any]]:
    names = {name for _, name, *_ in _LINES}
    return [a for a in figure["layout"].get("annotations", []) if a["text"] in names]


def _shares(rows: Sequence[Coverage], status: str) -> list[float | None]:
    """Percentages of one status; a run of zeros before the first hours is left undrawn."""
    where = STATUSES.index(status)
    values = [100 * value_of(row.shares[where]) if row.shares else None for row in rows]
    first = next((i for i, value in enumerate(values) if value), len(values))
    return [value if i >= first - 1 else None for i, value in enumerate(values)]


def _share_text(row: Coverage, status: str, name: str) -> str:
    if not row.shares:
        return ""
    return f"{named(row.label)}<br>{name}: {row.share(status).shown} of {row.total.shown} hours"


def mix_picture(review: Review) -> Picture | None:
    """The share of DART cases among the recordable ones, year by year; none without recordable cases."""
    years = [(year, share) for year in review.reporting.years if (share := year.dart_share) is not None]
    if not years:
        return None
    ends = [
        (100 * value_of(share.value), 100 * value_of(share.lower), 100 * value_of(share.upper)) for _, share in years
    ]
    figure = Drawing()
    figure.add_trace(
        dots(
            list(range(len(years))),
            [point for point, _, _ in ends],
            symbols=["circle" if year.quarters == 4 else "circle-open" for year, _ in years],
            error_y=whiskers(ends),
            hovertext=[_mix_text(year) for year, _ in years],
            hoverinfo="text",
        )
    )
    figure.update_xaxes(
        tickvals=list(range(len(years))),
        ticktext=[year.year for year, _ in years],
        range=[-0.6, len(years) - 0.4],
    )
    figure.update_yaxes(range=[0, 104], ticksuffix="%", dtick=25)
    return Picture(
        id="mix",
        title=mix_title(review.reporting),
        description=words_pictures.MIX_DESCRIPTION,
        figure=plain(figure),
        narrow={},
        height=280,
        narrow_height=260,
    )


def _mix_text(year: MixYear) -> str:
    share = year.dart_share
    shown = "" if share is None else f"<br>{share.value.shown}, likely {share.lower.shown} to {share.upper.shown}"
    return f"{year.year}<br>{year.dart.shown} of {year.recordable.shown} recordable cases{shown}"
