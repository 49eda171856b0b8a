"""Late reports: sentences, picture, tables."""

from __future__ import annotations

from handling_review.evidence.assemble import Review
from handling_review.evidence.late import SLOW_DAYS, LagRow, LateEvidence
from handling_review.page.drawing import Drawing
from handling_review.page.house import ACCENT, INK, NEUTRAL, Picture, dots, note, plain, value_of, whiskers
from handling_review.page.numbered import Counter, Finding
from handling_review.page.sentence import spoken
from handling_review.page.tables import Cell, Column, Table, estimate_range
from handling_review.page.time_axis import TimeAxis, over_time
from handling_review.page.words import late as words
from handling_review.page.words.rates import SERIES_NAME, upper


def lag_table(found: LateEvidence) -> Table:
    """Days from event to report by quarter."""
    return Table(
        "Days from event to report, recordable and first-aid cases",
        (
            Column("Quarter", "label"),
            Column("Cases", "number"),
            Column("Median, days", "number"),
            Column("90th percentile, days", "number"),
            Column(f"Over {SLOW_DAYS} days", "number"),
            Column("No day of report", "number"),
        ),
        tuple(_lag_cells(row) for row in (*found.rows, found.whole)),
        (words.LAG_NOTE,),
    )


def _lag_cells(row: LagRow) -> tuple[Cell, ...]:
    return upper(row.name), row.cases, row.median, row.ninetieth, row.slow, row.no_day


def nowcast_table(found: LateEvidence) -> Table | None:
    """The latest quarters as reported and with the late cases to be expected."""
    if not found.nowcasts:
        return None
    return Table(
        f"{upper(SERIES_NAME[found.series])} of the latest quarters: as reported, and with late cases (estimate)",
        (
            Column("Quarter", "label"),
            Column("In the log", "number"),
            Column("Share in the log by now", "number"),
            Column("Late cases expected", "number"),
            Column("Between", "number"),
            Column("Rate as reported", "number"),
            Column("Rate with late cases", "number"),
            Column("Between", "number"),
        ),
        tuple(
            (
                item.quarter, item.reported, item.in_the_log, item.late.value, estimate_range(item.late),
                item.reported_rate, item.rate.value, estimate_range(item.rate),
            )
            for item in found.nowcasts
        ),
        (words.NOWCAST_NOTE,),
    )  # fmt: skip


def picture(review: Review) -> Picture | None:
    """Median and 90th percentile of the lag by quarter."""
    found = review.late
    axis = TimeAxis(review.rates.quarters)
    shown = [(at, row) for at, row in enumerate(found.rows) if row.median is not None and row.ninetieth is not None]
    if not shown:
        return None
    figure = Drawing()
    ends = [(value_of(row.median), value_of(row.median), value_of(row.ninetieth)) for _, row in shown]
    provisional = {span.quarter for span in review.rates.quarters if span.is_provisional}
    figure.add_trace(
        dots(
            [at for at, _ in shown],
            [point for point, _, _ in ends],
            color=ACCENT,
            symbols=["circle-open" if row.name in provisional else "circle" for _, row in shown],
            error_y=whiskers(ends, NEUTRAL),
            hovertext=[
                f"{row.name}<br>median {row.median} days<br>90th percentile {row.ninetieth} days<br>{row.cases} cases"
                for _, row in shown
            ],
            hoverinfo="text",
        )
    )
    figure.add_annotation(
        note("dot: half reported; top: nine in ten", x=0, y=1, xref="paper", yref="paper", xanchor="left",
             yanchor="bottom", color=INK)
    )  # fmt: skip
    figure.update_xaxes(**axis.wide())
    figure.update_yaxes(rangemode="tozero", title={"text": "days to the report", "standoff": 8})
    whole = found.whole
    return Picture(
        id="late",
        title=words.lag_title(whole),
        description=words.LAG_DESCRIPTION,
        figure=plain(figure),
        narrow={**axis.narrow(), "yaxis.title.text": "days"},
        height=300,
        narrow_height=280,
    )  # fmt: skip


def finding(review: Review, count: Counter) -> Finding:
    """The numbered finding for the nurse."""
    found = review.late
    has_days = found.whole.median is not None
    estimate = nowcast_table(found)
    return count.finding(
        "late",
        "Late reports",
        spoken(words.lag_sentence(found), words.nowcast_sentence(found)),
        over_time(review, picture),
        (*((estimate,) if estimate else ()), *((lag_table(found),) if has_days else ())),
        words.how(found),
    )  # fmt: skip
