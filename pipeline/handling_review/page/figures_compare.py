"""Pictures that set places and periods against each other: units, and ratios with their ranges."""

from __future__ import annotations

import math
from collections.abc import Sequence

from handling_review.evidence.assemble import Review
from handling_review.evidence.contrast import Contrast, Estimate
from handling_review.page.drawing import Drawing, scatter
from handling_review.page.house import (
    ACCENT,
    INK,
    NEUTRAL,
    ROWS,
    WARNING,
    Picture,
    dots,
    hover,
    named,
    note,
    plain,
    value_of,
    whiskers,
    wrapped,
)
from handling_review.page.sentence import Sentence
from handling_review.page.short_names import shortened
from handling_review.page.words import pictures as words_pictures
from handling_review.page.words.rates import units_title


def units_picture(review: Review) -> Picture:
    """Each unit's rate over all complete quarters, alphabetical, with the facility's rate as a line."""
    rows = list(reversed(review.units.rows))
    wide, small = (shortened([row.name for row in rows], most) for most in (44, 38))
    figure = Drawing()
    whole = review.units.facility_overall
    rated = [(i, row) for i, row in enumerate(rows) if row.overall.rate is not None and row.overall.limit is None]
    if rated:
        ends = [
            (value_of(row.overall.rate), value_of(row.overall.lower), value_of(row.overall.upper)) for _, row in rated
        ]
        figure.add_trace(
            dots(
                [point for point, _, _ in ends],
                [i for i, _ in rated],
                symbols=["circle" if row.overall.reliability == "plain" else "circle-open" for _, row in rated],
                error_x=whiskers(ends),
                hovertext=[hover(row.overall, row.name) for _, row in rated],
                hoverinfo="text",
            )
        )
    limited = [(i, row) for i, row in enumerate(rows) if row.overall.limit is not None]
    for index, row in limited:
        end = value_of(row.overall.limit)
        figure.add_shape(
            type="line", x0=0, x1=end, y0=index, y1=index, line={"color": NEUTRAL, "width": 1.6, "dash": "dot"}
        )
    if limited:
        figure.add_trace(
            dots(
                [value_of(row.overall.limit) for _, row in limited],
                [i for i, _ in limited],
                color=NEUTRAL,
                symbols="triangle-left-open",
                hovertext=[hover(row.overall, row.name) for _, row in limited],
                hoverinfo="text",
            )
        )
    if whole.rate is not None:
        figure.add_vline(x=value_of(whole.rate), line={"color": INK, "width": 1.5, "dash": "dash"})
        figure.add_annotation(
            note(f"whole facility {whole.rate.shown}", x=value_of(whole.rate), y=1.0, yref="paper", yanchor="bottom",
                 xanchor="left", xshift=-6, color=INK)
        )  # fmt: skip
    figure.update_xaxes(rangemode="tozero", showgrid=True, title={"text": "cases per 200,000 hours", "standoff": 8})
    figure.update_layout(margin={"b": 64}, **ROWS)
    figure.update_yaxes(
        tickvals=list(range(len(rows))),
        ticktext=[wrapped(wide[row.name], 24, 2) for row in rows],
        range=[-0.6, len(rows) - 0.4],
        showgrid=False,
        tickfont={"size": 13, "color": INK},
    )
    return Picture(
        id="units",
        title=units_title(review.units),
        description=words_pictures.UNITS_DESCRIPTION,
        figure=plain(figure),
        narrow={"yaxis.ticktext": [wrapped(small[row.name]) for row in rows], "xaxis.title.text": "per 200,000 hours"},
        height=130 + 36 * max(len(rows), 2),
        narrow_height=130 + 52 * max(len(rows), 2),
    )


_LONG_LABEL = 60  # characters on one line beside the rows of a forest
_LEAST, _MOST = 0.02, 50.0  # the ends of the scale of ratios
Row = tuple[str, Estimate | None, bool, str]  # label, ratio, few cases, text of the hover without the ratio


def forest_picture(
    id: str, title: Sentence, items: Sequence[tuple[str, Contrast]], target: float | None = None
) -> Picture:
    """Ratios of the rate after to the rate before, with their intervals, under each other."""
    rows = [
        (
            label,
            item.ratio,
            item.verdict == "few_cases",
            f"{named(label)}<br>{item.now.events.shown} cases after, {item.then.events.shown} before",
        )
        for label, item in items
    ]
    return forest(
        id,
        title,
        rows,
        target,
        sides="after ÷ before",
        description=words_pictures.FOREST_DESCRIPTION,
    )


def forest(
    id: str, title: Sentence, rows: Sequence[Row], target: float | None, *, sides: str, description: Sentence
) -> Picture:
    """Ratios with their intervals under each other on a logarithmic scale, a line at no change.

    ``sides``: what the ratio is of, such as "after ÷ before".
    """
    shown = [row for row in reversed(rows) if _drawable(row[1])]
    figure = Drawing()
    low, high = 0.25, 2.0
    for index, (_, ratio, is_open, text) in enumerate(shown):
        assert ratio is not None
        ends = [max(value_of(ratio.lower), _LEAST), min(value_of(ratio.upper), _MOST)]
        low, high = min(low, ends[0]), max(high, ends[1])
        point = value_of(ratio.value)
        figure.add_trace(
            scatter(
                x=ends,
                y=[index, index],
                mode="lines+markers",
                line={"color": ACCENT, "width": 2},
                marker={"symbol": _ends(ratio), "size": 10, "color": ACCENT, "line": {"width": 2}},
                cliponaxis=False,
                hoverinfo="skip",
            )
        )
        if point > 0 and not math.isinf(point):
            figure.add_trace(
                dots(
                    [point],
                    [index],
                    symbols="circle-open" if is_open else "circle",
                    hovertext=[
                        f"{text}<br>ratio {ratio.value.shown}, likely {ratio.lower.shown} to {ratio.upper.shown}"
                    ],
                    hoverinfo="text",
                )
            )
    _forest_lines(figure, target)
    ticks = [0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50]
    figure.update_xaxes(
        type="log",
        tickvals=ticks,
        ticktext=[f"{tick:g}" for tick in ticks],
        range=[math.log10(low * 0.85), math.log10(high * 1.15)],
        showgrid=True,
        title={"text": f"ratio of the rates, {sides} (log scale)", "standoff": 8},
    )
    figure.update_layout(margin={"b": 64}, **ROWS)
    labels = [label for label, *_ in shown]
    few_ticks = [0.2, 0.5, 1, 2, 5] if high / low < 30 else [0.02, 0.1, 1, 10]
    figure.update_yaxes(
        tickvals=list(range(len(shown))),
        ticktext=[wrapped(label, _LONG_LABEL, 2) for label in labels],
        range=[-0.6, len(shown) - 0.4],
        showgrid=False,
        tickfont={"size": 13, "color": INK},
    )
    tall = 36 if len(shown) < 10 or any(len(label) > _LONG_LABEL for label in labels) else 26
    return Picture(
        id=id,
        title=title,
        description=description,
        figure=plain(figure),
        narrow={
            "yaxis.ticktext": [wrapped(label, 18) for label in labels],
            "yaxis.tickfont.size": 12,
            "xaxis.title.text": sides.removesuffix(" the program"),
            "xaxis.tickvals": few_ticks,
            "xaxis.ticktext": [f"{tick:g}" for tick in few_ticks],
            "xaxis.tickangle": 0,
            "annotations": [],  # the tick at 1 and the words below say as much, and nothing is cut
        },
        height=140 + tall * max(len(shown), 2),
        narrow_height=140 + 52 * max(len(shown), 2),
    )


def _ends(ratio: Estimate) -> list[str]:
    """A bar across each end of a range, or an arrow where it goes on beyond the picture."""
    goes_on = (value_of(ratio.lower) < _LEAST, value_of(ratio.upper) > _MOST)
    arrows = ("triangle-left", "triangle-right")
    return [arrow if beyond else "line-ns" for arrow, beyond in zip(arrows, goes_on, strict=True)]


def _forest_lines(figure: Drawing, target: float | None) -> None:
    figure.add_vline(x=1, line={"color": INK, "width": 1.5})
    figure.add_annotation(note("no change", x=0, y=1, yref="paper", yanchor="bottom", xanchor="left", color=INK))
    if target is not None:
        figure.add_vline(x=target, line={"color": WARNING, "width": 1.5, "dash": "dash"})
        figure.add_annotation(
            note(f"target {target:.2f}", x=math.log10(target), y=1, yref="paper", yanchor="bottom",
                 xanchor="right", xshift=4, color=WARNING)
        )  # fmt: skip


def _drawable(estimate: Estimate | None) -> bool:
    return estimate is not None and estimate.value.value is not None
