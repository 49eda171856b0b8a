"""What people were doing when they were hurt: sentences, picture, tables."""

from __future__ import annotations

import textwrap

from handling_review.evidence.assemble import Review
from handling_review.evidence.tasks import EQUIPMENT_GROUPS, ActivityRow, TasksEvidence
from handling_review.page.drawing import Drawing, bar
from handling_review.page.house import ACCENT, INK, ROWS, WARNING, Picture, note, plain, safe
from handling_review.page.labels import ACTIVITY, EQUIPMENT_GROUP
from handling_review.page.numbered import Counter, Finding
from handling_review.page.sentence import NOTHING, spoken
from handling_review.page.tables import Cell, Column, Table
from handling_review.page.words import tasks as words
from handling_review.page.words.rates import upper

_BARS = (  # what is drawn as one stretch of a bar: name, equipment groups, colour, pattern
    ("lift or sliding aid", ("lift", "sliding"), ACCENT, ""),
    ("none, or a gait belt only", ("none", "gait_belt"), WARNING, "/"),
    ("other, or not given", ("other", "not_given"), "#ffffff", ""),
)


def activities_table(found: TasksEvidence) -> Table | None:
    """Activities by equipment in use."""
    if not found.activities:
        return None
    return Table(
        "Handling injuries by activity and equipment in use, "
        + (found.first if found.first == found.last else f"{found.first} to {found.last}"),
        (
            Column("Activity"),
            Column("Recordable", "number"),
            Column("Share of recordable", "number"),
            Column("First aid", "number"),
            *(Column(upper(EQUIPMENT_GROUP[group]), "number") for group in EQUIPMENT_GROUPS),
        ),
        tuple(
            (upper(ACTIVITY[row.activity]), row.recordable, _share(row), row.first_aid, *row.by_equipment)
            for row in found.activities
        ),
        (words.EQUIPMENT_NOTE,),
    )


def _share(row: ActivityRow) -> Cell:
    """The share of the recordable cases; empty where there is none at all."""
    return "" if row.share.value is None else row.share


def fit_table(found: TasksEvidence) -> Table | None:
    """Technique, load and suited equipment as counts."""
    if found.reason:
        return None
    rows = [
        (title, words, found.of(kind, value))
        for kind, title, texts in (
            ("technique", "Technique and share of effort", words.TECHNIQUE),
            ("load", "Load on hands", words.LOAD),
            ("suited", "Equipment that suits the activity", words.SUITED),
        )
        for value, words in texts.items()
    ]
    return Table(
        "Technique, load on hands and equipment, handling injuries with first aid",
        (Column("Question"), Column("Answer"), Column("Cases", "number")),
        tuple(rows),
    )


def picture(found: TasksEvidence) -> Picture | None:
    """Activities as bars, by whether equipment that takes weight was in use."""
    if not found.activities:
        return None
    rows = list(reversed(found.activities))
    figure = Drawing()
    figure.update_layout(barmode="stack")
    groups = list(EQUIPMENT_GROUPS)
    for name, members, color, pattern in _BARS:
        values = [sum(int(row.by_equipment[groups.index(m)].value or 0) for m in members) for row in rows]
        figure.add_trace(
            bar(
                y=list(range(len(rows))),
                x=values,
                orientation="h",
                name=name,
                marker={
                    "color": color,
                    "line": {"color": INK, "width": 1},
                    "pattern": {"shape": pattern, "fgcolor": color, "bgcolor": "#ffffff", "size": 7},
                },
                hovertext=[_stretch_hover(row, members) for row in rows],
                hoverinfo="text",
            )
        )
    names = [ACTIVITY[row.activity] for row in rows]
    figure.update_yaxes(
        tickvals=list(range(len(rows))), ticktext=[safe(name) for name in names], showgrid=False,
        tickfont={"size": 13, "color": INK},
    )  # fmt: skip
    figure.update_xaxes(
        title={"text": "handling injuries, first aid included", "standoff": 8}, showgrid=True, rangemode="tozero"
    )
    figure.update_layout(
        showlegend=True,
        legend={"orientation": "h", "x": 0, "y": 1, "yanchor": "bottom", "traceorder": "normal", "font": {"size": 13}},
        margin={"t": 44, "b": 56},
        bargap=0.35,
        **ROWS,
    )
    for at, row in enumerate(rows):
        figure.add_annotation(
            note(row.cases.shown, x=row.cases.value, y=at, xanchor="left", yanchor="middle", xshift=3, color=INK)
        )
    return Picture(
        id="tasks",
        title=words.activities_title(found),
        description=words.ACTIVITIES_DESCRIPTION,
        figure=plain(figure),
        narrow={
            "yaxis.ticktext": ["<br>".join(safe(line) for line in textwrap.wrap(name, 16)) for name in names],
            "yaxis.tickfont.size": 12,
            "legend.font.size": 12,
            "legend.orientation": "v",
            "margin.t": 84,
            "xaxis.title.text": "handling injuries",
        },
        height=120 + 30 * max(len(rows), 3),
        narrow_height=180 + 36 * max(len(rows), 3),
    )


def _stretch_hover(row: ActivityRow, members: tuple[str, ...]) -> str:
    """The counts that one stretch of a bar is made of; the same text as in the table."""
    shown = dict(zip(EQUIPMENT_GROUPS, row.by_equipment, strict=True))
    return "<br>".join([safe(upper(ACTIVITY[row.activity])), *(f"{EQUIPMENT_GROUP[m]}: {shown[m]}" for m in members)])


def finding(review: Review, count: Counter) -> Finding:
    """The numbered finding for the committee."""
    found = review.tasks
    tables = (activities_table(found), fit_table(found))
    return count.finding(
        "tasks",
        "What people were doing",
        spoken(
            words.activities_sentence(found),
            words.ramps_sentence(found),
            words.technique_sentence(found),
            words.suited_sentence(found),
            words.transfers_sentence(found),
            NOTHING if found.reason else words.CLIENTS_FIRST,
        ),
        picture(found),
        tuple(table for table in tables[:1] if table is not None),
        words.HOW,
        tuple(table for table in tables[1:] if table is not None),
    )
