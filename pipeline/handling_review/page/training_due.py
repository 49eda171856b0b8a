"""Refreshers due: sentences, picture, tables. Counts of people, never a name."""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go

from handling_review.evidence.training_due import MONTHS_AHEAD, DueEvidence, DueMonth, DueUnit
from handling_review.page.house import ACCENT, INK, TEMPLATE, WARNING, Picture, note, plain, value_of
from handling_review.page.numbered import Counter, Finding, spoken
from handling_review.page.sentence import NOTHING, Sentence, counted, say
from handling_review.page.tables import Cell, Column, Table

_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_OVERDUE_AT = -2.2  # the bar of what has lapsed already stands apart from the months
_WIDE_COUNT = 100  # counts of three digits would run into each other on a small screen; the table has them


def month_name(month: str) -> str:
    """``2026-09`` as "September 2026"."""
    return f"{_MONTHS[int(month[5:]) - 1]} {month[:4]}"


def _has_lapses(due: DueEvidence) -> bool:
    return bool(due.overdue.value or due.due.value)


def due_sentence(due: DueEvidence) -> Sentence:
    """Who is overdue, who was never trained, and what falls due soon."""
    if not due.asked.value:
        return say(
            f"Nobody with an employee number worked hours outside comparison units in the last {due.active_days} days, "
            "so nobody can be counted as due."
        )
    people = counted(due.asked, "person", "people")
    start = (f"On {due.as_of}, of ", *people, f" with hours in the last {due.active_days} days of the hours file, ")
    if due.never_trained.value == due.asked.value:
        return say(*start, "nobody had a qualifying training on record.")
    if not _has_lapses(due):
        missing = (due.never_trained, " had no") if due.never_trained.value else ("all had a",)
        return say(*start, *missing, " qualifying training on record. By the files as they are, no training lapses.")
    return say(
        *start, due.overdue, " had training that had lapsed and ", due.never_trained, " had no qualifying training on "
        "record. For ", due.soon, f" more it lapses by the end of {month_name(due.soon_through)}.",
    )  # fmt: skip


def apart_sentence(due: DueEvidence) -> Sentence:
    """People who are in none of these counts, and why."""
    sentence = NOTHING
    if due.unknown.value:
        sentence = sentence + say(
            "For ", due.unknown, " it is not known: the training file knows too few of the staff to call the others "
            "untrained.",
        )  # fmt: skip
    if due.comparison.value:
        sentence = sentence + say(
            *counted(due.comparison, "person of a comparison unit is", "people of comparison units are"),
            " left out: the program is not for them yet.",
        )  # fmt: skip
    return sentence


def months_table(due: DueEvidence) -> Table | None:
    """People by the month in which training lapses; none where no training lapses."""
    if not _has_lapses(due):
        return None
    rows: list[tuple[Cell, ...]] = [("Overdue", due.overdue)]
    rows += [(_row_name(item), item.people) for item in due.months]
    if due.current_no_end.value:
        rows.append(("Current, without an end", due.current_no_end))
    return Table(
        f"People by the month in which training lapses, on {due.as_of}",
        (Column("Lapses", "label"), Column("People", "number")),
        tuple(rows),
    )


def _row_name(item: DueMonth) -> str:
    return "Later" if item.month == "later" else month_name(item.month)


def units_table(due: DueEvidence) -> Table | None:
    """Units in alphabetical order; none without people."""
    if not due.units:
        return None
    parts = [("Overdue", "overdue"), ("Never trained", "never_trained")]
    parts += [(f"Due through {month_name(due.soon_through)}", "soon"), ("Due later", "later")]
    parts += [("Current, without an end", "current_no_end")] if due.current_no_end.value else []
    parts += [("Not known", "unknown")] if due.unknown.value else []
    notes: tuple[str, ...] = ()
    if due.comparison.value:
        notes = ("Comparison units are shown with their people only, so that nobody there is called up by mistake.",)
    return Table(
        f"People who still work here, by unit and training, on {due.as_of}",
        (Column("Unit"), Column("People", "number"), *(Column(title, "number") for title, _ in parts)),
        tuple(_unit_row(row, [name for _, name in parts]) for row in due.units),
        notes,
    )


def _unit_row(row: DueUnit, parts: list[str]) -> tuple[Cell, ...]:
    if row.is_comparison:
        return (f"{row.name} (comparison unit)", row.people, *("" for _ in parts))
    return (row.name, row.people, *(getattr(row, name) for name in parts))


def picture(due: DueEvidence) -> Picture | None:
    """A bar for what has lapsed, and one for each month ahead; none where no training lapses."""
    if not _has_lapses(due):
        return None
    months = [item for item in due.months if item.month != "later"]
    figure = go.Figure(layout={"template": TEMPLATE})
    at = [_OVERDUE_AT, *range(len(months))]
    heights = [value_of(due.overdue), *(value_of(item.people) for item in months)]
    top = max(*heights, 1.0)
    figure.add_trace(_bars(at[:1], heights[:1], ["lapsed already"], WARNING, "/"))
    figure.add_trace(_bars(at[1:], heights[1:], [month_name(item.month) for item in months], ACCENT, ""))
    figure.update_xaxes(
        tickvals=at, ticktext=["overdue", *_ticks(months, 3)], tickangle=0, range=[-3.1, len(months) - 0.4],
        tickfont={"color": INK},
    )  # fmt: skip
    figure.update_yaxes(
        range=[0, top * 1.18], title={"text": "people", "standoff": 8}, tickformat="d", dtick=1 if top < 5 else None
    )
    figure.update_layout(bargap=0.3, annotations=_counts(at, heights, 13))
    return Picture(
        id="due",
        title=say("Training has lapsed for ", due.overdue, " and lapses for ", due.soon, " more by the end of ",
                  month_name(due.soon_through)),
        description=say(
            f"Bars. The hatched one on the left counts the people whose training had lapsed by {due.as_of}. The others "
            f"count those whose training lapses in the rest of that month and in each of the {MONTHS_AHEAD} months "
            "after it. What lapses later, and who was never trained, stands in the tables only."
        ),
        figure=plain(figure),
        narrow={
            "xaxis.ticktext": ["over-<br>due", *_ticks(months, 1)],
            "xaxis.tickfont.size": 12,
            "yaxis.title.text": "",
            "annotations": _counts(at, heights, 11) if top < _WIDE_COUNT else [],
            "margin.l": 30,
            "margin.r": 6,
        },
        height=320,
        narrow_height=270,
    )  # fmt: skip


def _counts(at: list[float], heights: list[float], size: int) -> list[dict[str, Any]]:
    """The number of people above each bar."""
    return [
        note(f"{height:,.0f}", x=x, y=height, yanchor="bottom", size=size, color=INK)
        for x, height in zip(at, heights, strict=True)
    ]


def _bars(x: list[float], y: list[float], names: list[str], color: str, pattern: str) -> go.Bar:
    shown = [f"{count:,.0f}" for count in y]
    return go.Bar(
        x=x,
        y=y,
        marker={
            "color": color,
            "line": {"color": INK, "width": 1},
            "pattern": {"shape": pattern, "fgcolor": color, "bgcolor": "#ffffff", "size": 7},
        },
        hovertext=[f"{name}: {count}" for name, count in zip(names, shown, strict=True)],
        hoverinfo="text",
    )


def _ticks(months: list[DueMonth], letters: int) -> list[str]:
    """Names of months by their first letters, the year under each January, and under the first if there is room."""
    januaries = [at for at, item in enumerate(months) if item.month.endswith("-01")]
    with_year = set(januaries) | ({0} if januaries[0] > 3 - letters else set())
    return [
        _MONTHS[int(item.month[5:]) - 1][:letters] + (f"<br>{item.month[:4]}" if at in with_year else "")
        for at, item in enumerate(months)
    ]


def _how(due: DueEvidence) -> tuple[Sentence, ...]:
    if due.refresher_months is None:
        rule = "on the day of expiry that the training file gives; the program file states no refresher rule"
    else:
        after = "a month" if due.refresher_months == 1 else f"{due.refresher_months} months"
        rule = (
            f"on the day of expiry that the training file gives, or {after} after it was completed, whichever is first"
        )
    return (
        say(
            f"Still works here: hours worked in the last {due.active_days} days of the hours inside the review (common "
            "practice, no source). Somebody on a longer leave is not counted; somebody who left within these days is. "
            "People count once, in the unit of most of these hours."
        ),
        say(f"Training lapses {rule}. The completion that reaches furthest counts."),
        say(
            "Hours without an employee number, as those of an agency often are, cannot be counted as people, so they "
            "are in none of these counts."
        ),
        say(
            "Who they are is never in the review: no name, no employee number. The command “handling-review worklist” "
            "writes the list of employee numbers for those who schedule training, in a file that only its owner can "
            "read."
        ),
    )


def finding(due: DueEvidence, count: Counter) -> Finding:
    """The numbered finding: who is due by month and by unit."""
    months, units = months_table(due), units_table(due)
    return count.finding(
        "due",
        "Refreshers due",
        spoken(due_sentence(due), apart_sentence(due)),
        picture(due),
        tuple(table for table in (units,) if table is not None),
        _how(due),
        tuple(table for table in (months,) if table is not None),
    )
