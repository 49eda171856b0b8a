"""What people were doing when they were hurt: sentences, picture, tables."""

from __future__ import annotations

import textwrap

import plotly.graph_objects as go

from handling_review.evidence.assemble import Review
from handling_review.evidence.tasks import EQUIPMENT_GROUPS, ActivityRow, TasksEvidence
from handling_review.page.house import ACCENT, INK, ROWS, TEMPLATE, WARNING, Picture, note, plain, safe
from handling_review.page.labels import ACTIVITY, EQUIPMENT_GROUP
from handling_review.page.numbered import Counter, Finding, spoken
from handling_review.page.sentence import NOTHING, Part, Sentence, counted, say
from handling_review.page.tables import Cell, Column, Table
from handling_review.page.words.rates import upper

_NAMED = 3
_BARS = (  # what is drawn as one stretch of a bar: name, equipment groups, colour, pattern
    ("lift or sliding aid", ("lift", "sliding"), ACCENT, ""),
    ("none, or a gait belt only", ("none", "gait_belt"), WARNING, "/"),
    ("other, or not given", ("other", "not_given"), "#ffffff", ""),
)
_CLIENTS_FIRST = say(
    "These counts are for discussion. They are no instruction for care: the client's own assessment, local policy and "
    "licensed practice decide what is done."
)
_TECHNIQUE = {
    "in_band": "within the usual band of the technique",
    "outside_band": "outside the usual band of the technique",
    "no_band": "51 to 74% by staff: no usual manual technique",
    "not_known": "share of the effort not given",
}
_LOAD = {
    "over_limit": "above 35 lb for each helper",
    "within_limit": "35 lb or less for each helper",
    "not_known": "weight, share, helpers or equipment not given",
}
_SUITED = {
    "in_use": "a suited class was in use",
    "on_unit_not_in_use": "a suited class was in service on the unit, and not in use",
    "not_on_unit": "no suited class was in service on the unit",
    "unit_not_listed": "the equipment file does not list the unit",
    "not_known": "equipment in use not given",
}


def activities_sentence(found: TasksEvidence) -> Sentence:
    """The activities with the most handling injuries."""
    if found.reason:
        return say(f"There is nothing to tell by activity: {found.reason}.")
    named = [row for row in found.activities if row.activity != "unknown"][:_NAMED]
    span = f"In {found.first}" if found.first == found.last else f"From {found.first} to {found.last}"
    parts: list[Part] = [
        f"{span} there {'was' if found.total.value == 1 else 'were'} ",
        *counted(found.total, "handling injury", "handling injuries"),
        ", first aid included",
    ]  # fmt: skip
    if not named:
        return say(*parts, "; for none the activity is given.")
    is_all = sum(row.cases.value or 0 for row in named) == found.total.value
    if is_all:
        parts.append(". It came from " if found.total.value == 1 else ". They came from ")
    else:
        parts.append(". The most came from " if len(named) > 1 else ". All with an activity came from ")
    for at, row in enumerate(named):
        parts += [", " if 0 < at < len(named) - 1 else (" and " if at else ""), ACTIVITY[row.activity], " ("]
        parts += [row.cases, ")"]
    return say(*parts, ".")


def ramps_sentence(found: TasksEvidence) -> Sentence:
    """Wheelchairs on ramps and curbs, told even where there is none."""
    if found.reason:
        return NOTHING
    if not found.ramps.value:
        return say("None came from a wheelchair on a ramp or curb.")
    return say(*counted(found.ramps, "came", "came"), " from a wheelchair on a ramp or curb.")


def technique_sentence(found: TasksEvidence) -> Sentence:
    """Cases whose technique does not fit the share of the effort, and the load on hands."""
    outside, none = found.of("technique", "outside_band"), found.of("technique", "no_band")
    sentence = NOTHING
    if found.with_technique.value:
        sentence = say(
            "Of ", found.with_technique, " with a technique and its share of the effort noted, ", outside, " lay "
            "outside the usual band of the technique, and in ", none, " staff gave 51 to 74% of the effort, for which "
            "no manual technique is usual: individual assessment, equipment first.",
        )  # fmt: skip
    if found.with_load.value:
        sentence = sentence + say(
            "Where the weight was borne by hand and noted (", found.with_load, "), ", found.of("load", "over_limit"),
            " put more than 35 lb on each helper.",
        )  # fmt: skip
    return sentence


def suited_sentence(found: TasksEvidence) -> Sentence:
    """Equipment that was there and not in use; nothing without a list of equipment."""
    used, idle, absent = (found.of("suited", name) for name in ("in_use", "on_unit_not_in_use", "not_on_unit"))
    if not found.with_suited.value:
        return NOTHING
    return say(
        "In ", found.with_suited, " a class of equipment usually suits the activity: it was in use in ", used,
        ", in service on the unit but not in use in ", idle, ", and not on the unit in ", absent, ".",
    )  # fmt: skip


def transfers_sentence(found: TasksEvidence) -> Sentence:
    """The rate per transfers, where transfers are counted."""
    rate = found.per_transfers
    if rate is None:
        return NOTHING
    return say(
        *counted(rate.cases, "recordable handling injury", "recordable handling injuries"), " in ", rate.transfers,
        " transfers counted on ", *counted(rate.units, "unit", "units"), ": about ", rate.rate.value,
        " per 10,000 transfers (likely between ",
        rate.rate.lower, " and ", rate.rate.upper, ").",
    )  # fmt: skip


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
        (
            "The six columns at the right count recordable and first-aid cases together by the equipment in use. "
            "Sliding aid: sliding board, friction-reducing sheet, air-assisted mat. A gait belt is not lifting "
            "equipment.",
        ),
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
            ("technique", "Technique and share of effort", _TECHNIQUE),
            ("load", "Load on hands", _LOAD),
            ("suited", "Equipment that suits the activity", _SUITED),
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
    figure = go.Figure(layout={"template": TEMPLATE, "barmode": "stack"})
    groups = list(EQUIPMENT_GROUPS)
    for name, members, color, pattern in _BARS:
        values = [sum(int(row.by_equipment[groups.index(m)].value or 0) for m in members) for row in rows]
        figure.add_trace(
            go.Bar(
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
    first = found.activities[0]
    is_tied = len(found.activities) > 1 and found.activities[1].cases.value == first.cases.value
    return Picture(
        id="tasks",
        title=say("Handling injuries by what people were doing: ", found.total, " in all")
        if is_tied
        else say(f"{upper(ACTIVITY[first.activity])}: ", first.cases, " of ", found.total, " handling injuries"),
        description=say(
            "One bar for each activity, the longest on top, as long as its number of handling injuries with first aid. "
            "Plain stretches: a lift or a sliding aid was in use. Hatched: no equipment, or a gait belt only. White: "
            "other equipment, or not given. The table gives every number."
        ),
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
            activities_sentence(found),
            ramps_sentence(found),
            technique_sentence(found),
            suited_sentence(found),
            transfers_sentence(found),
            NOTHING if found.reason else _CLIENTS_FIRST,
        ),
        picture(found),
        tuple(table for table in tables[:1] if table is not None),
        (
            say(
                "Counts show where people are hurt, not how dangerous an activity is: what is done often leads to more "
                "cases. A rate by activity would need the number of times each is done."
            ),
            say(
                "Usual bands, common practice without a source: staff give 75% or more of the effort in a lateral "
                "transfer or two-person lift, 26 to 50% in a squat pivot, under 26% in a stand pivot."
            ),
            say(
                "Load on hands: weight times share of the effort, divided by helpers, against 35 lb (Waters 2007, "
                "American Journal of Nursing 107(8):53-58), where no equipment or only a gait belt was in use. "
                "Helpers do not share a load equally. The figure is for a cooperative client and good posture, not "
                "for falls, sudden movements, pushing or pulling; below it is not a safe harbour."
            ),
            say(
                "Which class of equipment usually suits which activity is common practice without a source; in service "
                "means listed for the unit, with a quantity, from that day on or before."
            ),
        ),
        tuple(table for table in tables[1:] if table is not None),
    )
