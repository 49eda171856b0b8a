"""How long people are away: sentences, picture, tables."""

from __future__ import annotations

from handling_review.evidence.assemble import Review
from handling_review.evidence.contrast import Estimate
from handling_review.evidence.severity import SeverityEvidence, SeverityRow
from handling_review.page.drawing import Drawing
from handling_review.page.house import ACCENT, INK, ROWS, Picture, dots, note, plain, safe, value_of, whiskers
from handling_review.page.labels import OUTCOME
from handling_review.page.numbered import Counter, Finding
from handling_review.page.sentence import NOTHING, spoken
from handling_review.page.tables import Column, Table, estimate_cells
from handling_review.page.words import severity as words
from handling_review.page.words.pictures import severity_title
from handling_review.page.words.rates import upper

_KIND = {"recordable": "all recordable injuries", "handling": "handling injuries"}


def days_table(found: SeverityEvidence) -> Table | None:
    """Days per 200,000 hours by window and kind, with and without the longest case."""
    if not found.rows:
        return None
    return Table(
        "Days away and restricted, together, per 200,000 hours",
        (
            Column("Window", "label"),
            Column("Injuries"),
            Column("Cases with days", "number"),
            Column("Days", "number"),
            Column("Hours", "number"),
            Column("Days per 200,000 h", "number"),
            Column("Likely between", "number"),
            Column("Longest case, days", "number"),
            Column("Without it", "number"),
            Column("Likely between", "number"),
        ),
        tuple(
            (
                upper(row.window), _KIND[row.kind], row.cases, row.days, row.hours, *estimate_cells(row.days_rate),
                row.longest, *estimate_cells(row.without_longest),
            )
            for row in found.rows
        ),
        (
            words.DAYS_NOTE,
        ),
    )  # fmt: skip


def outcomes_table(found: SeverityEvidence) -> Table | None:
    """Recordable cases by outcome."""
    if not found.outcomes:
        return None
    return Table(
        "Recordable injuries by outcome",
        (
            Column("Window", "label"),
            Column("Outcome"),
            Column("Cases", "number"),
            Column("Share", "number"),
            Column("Likely between", "number"),
        ),
        tuple(
            (upper(row.window), OUTCOME[row.outcome], row.cases, *estimate_cells(row.share)) for row in found.outcomes
        ),
    )


def picture(found: SeverityEvidence) -> Picture | None:
    """Days per 200,000 hours, filled with all cases and hollow without the longest one."""
    rows = [row for row in reversed(found.rows) if row.days_rate is not None]
    if not rows:
        return None
    figure = Drawing()
    for shift, symbol, pick in ((0.14, "circle", _all), (-0.14, "circle-open", _rest)):
        shown = [(at, row, found_here) for at, row in enumerate(rows) if (found_here := pick(row)) is not None]
        ends = [(value_of(e.value), value_of(e.lower), value_of(e.upper)) for _, _, e in shown]
        figure.add_trace(
            dots(
                [point for point, _, _ in ends],
                [at + shift for at, _, _ in shown],
                color=ACCENT,
                symbols=symbol,
                error_x=whiskers(ends),
                hovertext=[
                    f"{safe(upper(row.window))}, {_KIND[row.kind]}<br>{e.value.shown}, likely {e.lower.shown} to "
                    f"{e.upper.shown}" for _, row, e in shown
                ],
                hoverinfo="text",
            )
        )  # fmt: skip
    names = [(upper(row.window), "all recordable" if row.kind == "recordable" else "handling") for row in rows]
    figure.update_yaxes(
        tickvals=list(range(len(rows))),
        ticktext=[f"{window}, {kind}" for window, kind in names],
        range=[-0.6, len(rows) - 0.4],
        showgrid=False,
        tickfont={"size": 13, "color": INK},
    )
    figure.update_xaxes(rangemode="tozero", showgrid=True, title={"text": "days per 200,000 hours", "standoff": 8})
    figure.update_layout(margin={"b": 60}, **ROWS)
    for shift, name, pick in ((0.14, "all cases", _all), (-0.14, "without the longest", _rest)):
        if (first := pick(rows[-1])) is not None:
            figure.add_annotation(
                note(name, x=value_of(first.upper), y=len(rows) - 1 + shift, xanchor="left", xshift=6, size=12,
                     bgcolor="rgba(255,255,255,0.85)")
            )  # fmt: skip
    return Picture(
        id="severity",
        title=severity_title(found),
        description=words.DAYS_DESCRIPTION,
        figure=plain(figure),
        narrow={
            "yaxis.ticktext": [f"{window},<br>{kind}" for window, kind in names],
            "yaxis.tickfont.size": 12,
            "xaxis.title.text": "days per 200,000 h",
            "annotations": [],
        },
        height=130 + 44 * max(len(rows), 2),
        narrow_height=130 + 54 * max(len(rows), 2),
    )


def _all(row: SeverityRow) -> Estimate | None:
    return row.days_rate


def _rest(row: SeverityRow) -> Estimate | None:
    return row.without_longest


def finding(review: Review, count: Counter) -> Finding:
    """The numbered finding for the nurse."""
    found = review.severity
    tables = (days_table(found), outcomes_table(found))
    return count.finding(
        "severity",
        "How long: days away and restricted",
        spoken(words.days_sentence(found), words.counting_sentence(found) if found.rows else NOTHING),
        picture(found),
        tuple(table for table in tables[:1] if table is not None),
        words.HOW,
        tuple(table for table in tables[1:] if table is not None),
    )
