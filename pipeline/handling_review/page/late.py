"""Late reports: sentences, picture, tables."""

from __future__ import annotations

import plotly.graph_objects as go

from handling_review.evidence.assemble import Review
from handling_review.evidence.late import SLOW_DAYS, LagRow, LateEvidence, Nowcast
from handling_review.page.house import ACCENT, INK, NEUTRAL, TEMPLATE, Picture, dots, note, plain, value_of, whiskers
from handling_review.page.numbered import Counter, Finding, spoken
from handling_review.page.sentence import NOTHING, Sentence, counted, listed, say
from handling_review.page.tables import Cell, Column, Table, estimate_range
from handling_review.page.time_axis import TimeAxis, over_time
from handling_review.page.words.rates import SERIES_NAME, upper

_FEWEST_CASES = 5  # with fewer a quarter's median says nothing of how reports go
_RECENT = 4  # quarters in which the latest one with cases enough is looked for


def lag_sentence(found: LateEvidence) -> Sentence:
    """How long reports take, over all and in the latest quarter with any."""
    whole = found.whole
    if whole.median is None or whole.ninetieth is None or whole.slow is None:
        return say("The log gives no day of report, so nothing can be said of late reports.")
    sentence = say(
        "Half of the cases are reported within ", *counted(whole.median, "day", "days"), ", nine in ten within ",
        *counted(whole.ninetieth, "day", "days"), "; ",
        *((whole.slow, f" take longer than {SLOW_DAYS} days.") if whole.slow.value else ("none takes longer than ",
          f"{SLOW_DAYS} days.")),
    )  # fmt: skip
    enough = [
        row for row in found.rows[-_RECENT:] if row.median is not None and (row.cases.value or 0) >= _FEWEST_CASES
    ]
    latest = enough[-1] if enough else None
    if latest is not None and latest.median is not None and latest.ninetieth is not None:
        sentence = sentence + say(
            f"In {latest.name}: ", latest.median, " and ", latest.ninetieth, " (from ",
            *counted(latest.cases, "case", "cases"), ").",
        )  # fmt: skip
    return sentence


def nowcast_sentence(found: LateEvidence) -> Sentence:
    """Late cases that are still to be expected of the latest quarters."""
    if found.whole.median is None:
        return NOTHING
    if found.reason:
        return say(f"Late cases of the latest quarters are not estimated: {found.reason}.")
    calm = tuple(item.quarter for item in found.nowcasts if not item.late.upper.value)
    sentence = NOTHING
    for item in found.nowcasts:
        if item.quarter not in calm:
            sentence = sentence + _one(item, found.series)
    if not calm:
        return sentence
    return sentence + say(
        f"By the facility's own lag no late {SERIES_NAME[found.series]} of {listed(calm)} are to be expected."
    )


def _one(item: Nowcast, series: str) -> Sentence:
    return say(
        f"{item.quarter}: ", item.reported, f" {SERIES_NAME[series]} are in the log; about ", item.late.value,
        " more may still be reported (between ", item.late.lower, " and ", item.late.upper, "). With them the rate "
        "would be ",
        item.rate.value, " (", item.rate.lower, " to ", item.rate.upper, ") in place of ", item.reported_rate, ".",
    )  # fmt: skip


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
        ("Recent quarters look faster than they are: what will be late is not in the log yet.",),
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
        ("The rates elsewhere in this review are as reported. The range here is that of late cases only.",),
    )  # fmt: skip


def picture(review: Review) -> Picture | None:
    """Median and 90th percentile of the lag by quarter."""
    found = review.late
    axis = TimeAxis(review.rates.quarters)
    shown = [(at, row) for at, row in enumerate(found.rows) if row.median is not None and row.ninetieth is not None]
    if not shown:
        return None
    figure = go.Figure(layout={"template": TEMPLATE})
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
        title=say(
            "Half of the cases are reported within ",
            *counted(whole.median or whole.cases, "day", "days"),
            ", nine in ten within ",
            *counted(whole.ninetieth or whole.cases, "day", "days"),
        ),
        description=say(
            "Time chart of the days from event to report. A dot is the time within which half of a quarter's cases "
            "were reported, the top of its line the time for nine in ten; hollow dots are provisional."
        ),
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
        spoken(lag_sentence(found), nowcast_sentence(found)),
        over_time(review, picture),
        (*((estimate,) if estimate else ()), *((lag_table(found),) if has_days else ())),
        (
            say(
                "What share of a quarter's cases is in the log by now comes from the facility's own reports (",
                *counted(found.based_on, "recordable case", "recordable cases"), " with a day of report), read "
                "backwards from the day of the exports so that long lags count as often as they happen (Kalbfleisch "
                "and Lawless 1989). A lag longer than any seen so far is not foreseen.",
            ),
            say(
                "The estimate stands beside the reported rate and replaces it nowhere. Its range carries the chance "
                "in the cases and in the lags."
            ),
        ),
    )  # fmt: skip
