"""Refreshers due: sentences, picture, tables. Counts of people, never a name."""

from __future__ import annotations

from typing import Any

from handling_review.evidence.training_due import DueEvidence, DueMonth, DueUnit
from handling_review.page.drawing import Drawing, Look, bar
from handling_review.page.house import ACCENT, INK, WARNING, Picture, note, plain, value_of
from handling_review.page.numbered import Counter, Finding
from handling_review.page.sentence import spoken
from handling_review.page.tables import Cell, Column, Table
from handling_review.page.words import due as words

_OVERDUE_AT = -2.2  # the bar of what has lapsed already stands apart from the months
_WIDE_COUNT = 100  # counts of three digits would run into each other on a small screen; the table has them


def months_table(due: DueEvidence) -> Table | None:
    """People by the month in which training lapses; none where no training lapses."""
    if not words.has_lapses(due):
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
    return "Later" if item.month == "later" else words.month_name(item.month)


def units_table(due: DueEvidence) -> Table | None:
    """Units in alphabetical order; none without people."""
    if not due.units:
        return None
    parts = [("Overdue", "overdue"), ("Never trained", "never_trained")]
    parts += [(f"Due through {words.month_name(due.soon_through)}", "soon"), ("Due later", "later")]
    parts += [("Current, without an end", "current_no_end")] if due.current_no_end.value else []
    parts += [("Not known", "unknown")] if due.unknown.value else []
    notes: tuple[str, ...] = ()
    if due.comparison.value:
        notes = (words.COMPARISON_NOTE,)
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
    if not words.has_lapses(due):
        return None
    months = [item for item in due.months if item.month != "later"]
    figure = Drawing()
    at = [_OVERDUE_AT, *range(len(months))]
    heights = [value_of(due.overdue), *(value_of(item.people) for item in months)]
    top = max(*heights, 1.0)
    figure.add_trace(_bars(at[:1], heights[:1], ["lapsed already"], WARNING, "/"))
    figure.add_trace(_bars(at[1:], heights[1:], [words.month_name(item.month) for item in months], ACCENT, ""))
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
        title=words.due_title(due),
        description=words.due_description(due),
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


def _bars(x: list[float], y: list[float], names: list[str], color: str, pattern: str) -> Look:
    shown = [f"{count:,.0f}" for count in y]
    return bar(
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
        words.MONTHS[int(item.month[5:]) - 1][:letters] + (f"<br>{item.month[:4]}" if at in with_year else "")
        for at, item in enumerate(months)
    ]


def finding(due: DueEvidence, count: Counter) -> Finding:
    """The numbered finding: who is due by month and by unit."""
    months, units = months_table(due), units_table(due)
    return count.finding(
        "due",
        "Refreshers due",
        spoken(words.due_sentence(due), words.apart_sentence(due)),
        picture(due),
        tuple(table for table in (units,) if table is not None),
        words.how(due),
        tuple(table for table in (months,) if table is not None),
    )
