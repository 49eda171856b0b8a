"""Signal or noise: the control chart as sentences, table, picture and finding."""

from __future__ import annotations

import plotly.graph_objects as go

from handling_review.evidence.assemble import Review
from handling_review.evidence.watch import OUTSIDE, RUN, TREND, Watch
from handling_review.page.house import (
    ACCENT,
    INK,
    NEUTRAL,
    TEMPLATE,
    WARNING,
    Picture,
    dots,
    narrow_quarter_axis,
    note,
    plain,
    quarter_axis,
    safe,
    value_of,
)
from handling_review.page.numbered import Counter, Finding, spoken
from handling_review.page.sentence import NOTHING, Sentence, listed, say
from handling_review.page.tables import Column, Table
from handling_review.page.words import SERIES_NAME, upper

MEANING = {
    OUTSIDE: "outside the limits",
    RUN: "in a run of eight or more on one side of the centre",
    TREND: "in six or more in a row that rise, or fall",
}


def signal_sentence(found: Watch) -> Sentence:
    """Which quarters the three rules point at, or that none does."""
    if found.reason:
        return say(f"No chart is drawn: there are {found.reason}.")
    spoken_of = [f"{listed(found.with_signal(rule))} {MEANING[rule]}" for rule in MEANING if found.with_signal(rule)]
    if not spoken_of:
        return say(f"No quarter of {SERIES_NAME[found.series]} stands out from the spread that chance alone gives.")
    return say(f"Worth asking why: {'; '.join(spoken_of)}.")


def warning_sentence(found: Watch) -> Sentence:
    """Whether the early warning of a doubling speaks."""
    if found.reason or found.warning_at is None:
        return NOTHING
    warned = tuple(point.quarter for point in found.points if point.warns)
    start = (
        say(f"The early warning of a doubled rate speaks in {listed(warned)}.")
        if warned
        else say("The early warning of a doubled rate is silent.")
    )
    if found.quiet_quarters is None or found.found_after is None:
        return start
    return start + say(
        "With nothing changing it speaks about once in ",
        found.quiet_quarters,
        " quarters; a true doubling it tells after about ",
        found.found_after,
        " on average.",
    )


def false_sentence(found: Watch) -> Sentence:
    """How often such a chart speaks with nothing changing."""
    if found.speaks_for_nothing is None:
        return NOTHING
    return say(
        "With nothing changing, a chart of these quarters shows some signal in ",
        found.speaks_for_nothing,
        " of cases, so a signal is a question, not an answer.",
    )


def title(found: Watch) -> Sentence:
    """The finding as the title of the picture."""
    if any(point.signals for point in found.points):
        return say(f"{upper(SERIES_NAME[found.series])}: some quarters stand out from chance")
    return say(f"{upper(SERIES_NAME[found.series])}: no quarter stands out from chance")


def table(found: Watch) -> Table:
    """The chart's points, limits and signals."""
    return Table(
        f"{upper(SERIES_NAME[found.series])} by quarter with control limits, per 200,000 hours",
        (
            Column("Quarter", "label"),
            Column("Rate", "number"),
            Column("Lower limit", "number"),
            Column("Upper limit", "number"),
            Column("Warning sum", "number"),
            Column("Remark"),
        ),
        tuple(
            (
                point.quarter,
                point.rate,
                point.lower,
                point.upper,
                point.warning_sum,
                "; ".join(
                    [
                        *(["baseline"] if point.in_baseline else []),
                        *(["provisional"] if point.is_provisional else []),
                        *(MEANING[rule] for rule in point.signals),
                        *(["early warning"] if point.warns else []),
                    ]
                ),
            )
            for point in found.points
        ),
    )


def picture(found: Watch) -> Picture | None:
    """Rates with centre line and limits; points in a signal are squares."""
    if not found.points or found.centre is None:
        return None
    places = list(range(len(found.points)))
    figure = go.Figure(layout={"template": TEMPLATE})
    for ends in ([value_of(p.lower) for p in found.points], [value_of(p.upper) for p in found.points]):
        figure.add_trace(
            go.Scatter(
                x=places,
                y=ends,
                mode="lines",
                line={"color": NEUTRAL, "width": 1.5, "dash": "dot", "shape": "hvh"},
                hoverinfo="skip",
            )
        )
    figure.add_hline(y=value_of(found.centre), line={"color": INK, "width": 1.5})
    figure.add_trace(
        go.Scatter(
            x=places,
            y=[value_of(p.rate) for p in found.points],
            mode="lines",
            line={"color": ACCENT, "width": 1.5},
            hoverinfo="skip",
        )
    )
    for is_signal in (False, True):
        mine = [(i, p) for i, p in zip(places, found.points, strict=True) if bool(p.signals) == is_signal]
        if not mine:
            continue
        shape = "square" if is_signal else "circle"
        figure.add_trace(
            dots(
                [i for i, _ in mine],
                [value_of(p.rate) for _, p in mine],
                color=WARNING if is_signal else ACCENT,
                symbols=[f"{shape}-open" if p.is_provisional else shape for _, p in mine],
                hovertext=[
                    f"{safe(p.quarter)}<br>rate {p.rate.shown}<br>limits {p.lower.shown} to {p.upper.shown}"
                    for _, p in mine
                ],
                hoverinfo="text",
            )
        )
    figure.add_annotation(
        note(f"centre {found.centre.shown}", x=len(places) - 0.5, y=value_of(found.centre), xanchor="right",
             yanchor="bottom", color=INK)
    )  # fmt: skip
    figure.add_annotation(
        note("dotted: limits of chance", x=len(places) - 0.5, y=value_of(found.points[-1].upper), xanchor="right",
             yanchor="bottom", yshift=5, color=NEUTRAL)
    )  # fmt: skip
    quarters = [point.quarter for point in found.points]
    figure.update_xaxes(**quarter_axis(quarters))
    figure.update_yaxes(rangemode="tozero", title={"text": "cases per 200,000 hours", "standoff": 8})
    return Picture(
        id="signals",
        title=title(found),
        description=say(
            "Control chart. Dots are the rates by quarter, joined by a line; hollow ones are provisional, squares take "
            "part in a signal. A solid line is the centre, dotted lines are limits that a steady rate rarely leaves. "
            "The table gives every number."
        ),
        figure=plain(figure),
        narrow=narrow_quarter_axis(quarters),
        height=320,
        narrow_height=300,
    )


def finding(review: Review, count: Counter) -> Finding:
    """The numbered finding for the committee."""
    found = review.watch
    if found.reason:
        return count.finding("signals", "Signal or noise", (signal_sentence(found),), None, (), ())
    baseline = f"the quarters before the first unit started ({found.baseline[0]} to {found.baseline[-1]}), frozen there"
    if not found.before_start:
        baseline = "all complete quarters, because too few lie before the first start"
    return count.finding(
        "signals",
        "Signal or noise",
        spoken(signal_sentence(found), warning_sentence(found), false_sentence(found)),
        picture(found),
        (table(found),),
        (
            say(f"The centre line is the rate of {baseline}."),
            say(
                "Limits are exact for counts: a steady rate leaves them with a chance of at most 0.00135 on either "
                "side in a quarter. Three rules look for a signal: a point outside the limits, eight or more in a row "
                "on one side of the centre, six or more in a row that rise or fall."
            ),
            say(
                "The early warning adds up, quarter by quarter, the cases beyond a level between the centre and twice "
                "the centre; it speaks when the sum reaches ",
                found.warning_at or "its threshold",
                " cases.",
            ),
            *(say(f"{upper(text)}.") for text in found.notes),
        ),
    )
