"""Technique audits: sentences, picture, tables."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

import plotly.graph_objects as go

from handling_review.evidence.audits import (
    WINDOW,
    AuditRow,
    AuditsEvidence,
    Judged,
)
from handling_review.evidence.contrast import CANNOT_TELL, COUNTS_ONLY, HIGHER, LOWER, NO_DATA, Estimate
from handling_review.evidence.quarters import stretches
from handling_review.page.glyph import share_glyph
from handling_review.page.house import (
    ACCENT,
    INK,
    NEUTRAL,
    ROWS,
    TEMPLATE,
    Picture,
    dots,
    note,
    plain,
    safe,
    value_of,
    whiskers,
)
from handling_review.page.labels import ACTIVITY
from handling_review.page.numbered import Counter, Finding, spoken
from handling_review.page.sentence import NOTHING, Part, Sentence, say
from handling_review.page.tables import VERDICTS, Cell, Column, Table, estimate_cells, estimate_range
from handling_review.page.words.rates import upper

ITEM = {
    "brakes_set": "brakes set",
    "chair_angle_60_to_90": "chair at 60 to 90 degrees",
    "stronger_side_first": "stronger side first",
    "rests_cleared": "foot and arm rests cleared",
    "client_at_edge": "client moved to the edge",
    "steps_explained": "steps explained to the client",
    "count_given": "count given aloud",
    "stance_wide": "feet wide apart",
    "knees_bent": "knees bent",
    "load_close": "load kept close",
    "look_behind": "looked behind",
    "discomfort_asked": "asked about discomfort",
}
TRANSFER = {
    **{code: ACTIVITY[code] for code in ("lateral_transfer", "two_person_lift", "squat_pivot", "stand_pivot")},
    **{code: ACTIVITY[code] for code in ("mechanical_lift", "wheelchair_level", "wheelchair_ramp_or_curb")},
    "other": "other transfer",
}
_NARROW_NAME = 16  # characters of a step's name on one line of a small screen
_HALF = 45.0  # percent; a whisker that ends left of it has its name on the right
_WHITE = "rgba(255,255,255,0.85)"


def _window(found: AuditsEvidence) -> str:
    """The quarters that are told of, in words."""
    named = "; ".join(stretches(found.now))
    if len(found.now) == 1:
        return named
    return f"{'the last four complete' if len(found.now) == WINDOW else 'the complete'} quarters ({named})"


def share_sentence(found: AuditsEvidence) -> Sentence:
    """The share of steps done as taught, by shape: no data, none judged, too few, or a share with its range."""
    if found.reason:
        return say(f"There is nothing to tell of technique audits: {found.reason}.")
    steps = found.facility.now
    if not steps.judged.value:
        if steps.not_applicable.value:
            return say(f"In {_window(found)} none of the ", steps.not_applicable, " audited steps applied.")
        return say(f"No step was audited in {_window(found)}.")
    if steps.share is None:
        return say(
            f"In {_window(found)} only ", steps.judged, " audited steps applied, of which ", steps.met,
            " were done as taught: too few for a share.",
        )  # fmt: skip
    return say(
        f"In {_window(found)}, ", steps.share.value, " of the audited steps were done as taught (likely between ",
        *ends_words(steps.share), "): ", steps.met, " of ", steps.judged, ".",
    )  # fmt: skip


def ends_words(found: Estimate) -> tuple[Part, ...]:
    """The likely range inside a sentence."""
    return found.lower, " and ", found.upper


def change_sentence(found: AuditsEvidence) -> Sentence:
    """The change from the four quarters before, by shape; nothing where there is no share to compare."""
    row = found.facility
    if found.reason or row.now.share is None:
        return NOTHING
    if not found.then:
        return say("There are not yet four complete quarters before these to compare with.")
    if row.then.share is None:
        if not row.then.judged.value:
            return say("No audited step applied in the four quarters before, so there is nothing to compare with.")
        return say("In the four quarters before, only ", row.then.judged, " audited steps applied: too few to compare.")
    assert row.change is not None
    by = (row.change.value, " percentage points (likely between ", *ends_words(row.change), ").")
    if row.verdict == CANNOT_TELL:
        return say(
            "In the four quarters before it was ", row.then.share.value, " (likely between ",
            *ends_words(row.then.share), "). A change of this size could be chance: ", *by,
        )  # fmt: skip
    return say(
        f"That is {row.verdict} than in the four quarters before, ", row.then.share.value, " (likely between ",
        *ends_words(row.then.share), "): a change of ", *by,
    )  # fmt: skip


def least_sentence(found: AuditsEvidence) -> Sentence:
    """The steps that are clearly done less often than the whole, in the order of the list; or that none is."""
    if found.reason or found.facility.now.share is None or not any(row.now.share for row in found.items):
        return NOTHING
    rows = found.least_met()
    if not rows:
        return say("No step stands out as done less often: the likely range of each reaches the share of all steps.")
    parts: list[Part] = ["Done less often than the steps together: "]
    for at, row in enumerate(rows):
        assert row.now.share is not None
        parts += ["; " if at else "", f"{ITEM[row.code]} (", row.now.share.value, ", likely between "]
        parts += [*ends_words(row.now.share), ")"]
    return say(*parts, ".")


_STEP_COLUMNS = (
    Column("Done as taught", "number"),
    Column("Judged", "number"),
    Column("Share", "number"),
    Column("Likely between", "number"),
    Column("Picture", "picture"),
)


def _steps(steps: Judged) -> tuple[Cell, ...]:
    """Counts, share, range and picture; without a share the reason."""
    if steps.share is None:
        return steps.met, steps.judged, "too few" if steps.judged.value else "none judged", "", None
    return steps.met, steps.judged, steps.share.value, estimate_range(steps.share), share_glyph(steps.share)


def rows_table(found: AuditsEvidence, caption: str, first: str, rows: Sequence[tuple[str, AuditRow]]) -> Table | None:
    """Rows with both windows and the change between them; without earlier quarters the last window alone."""
    if not rows:
        return None
    if not found.then:
        return Table(
            f"{caption}, {'; '.join(stretches(found.now))}",
            (Column(first), *_STEP_COLUMNS),
            tuple((name, *_steps(row.now)) for name, row in rows),
        )
    earlier = (
        Column("Judged before", "number"),
        Column("Share before", "number"),
        Column("Before likely between", "number"),
    )
    change = (Column("Change, percentage points", "number"), Column("Change likely between", "number"))
    return Table(
        f"{caption}, {'; '.join(stretches(found.now))}, and the four quarters before "
        f"({'; '.join(stretches(found.then))})",
        (Column(first), *_STEP_COLUMNS, *earlier, *change, Column("Answer", "label")),
        tuple(
            (
                name,
                *_steps(row.now),
                row.then.judged,
                *estimate_cells(row.then.share),
                row.change.value if row.change else "",
                estimate_range(row.change),
                VERDICTS[row.verdict],
            )
            for name, row in rows
        ),
    )


def quarters_table(found: AuditsEvidence) -> Table | None:
    """The facility quarter by quarter, incomplete quarters too."""
    if not found.quarters:
        return None
    return Table(
        "Audited steps by quarter, whole facility",
        (Column("Quarter", "label"), *_STEP_COLUMNS, Column("Did not apply", "number"), Column("Remark")),
        tuple(
            (
                row.quarter,
                *_steps(row.steps),
                row.steps.not_applicable,
                "" if row.is_complete else "incomplete quarter",
            )
            for row in found.quarters
        ),
        ("Steps that did not apply to a transfer are counted in no share.",),
    )


def items_picture(found: AuditsEvidence) -> Picture | None:
    """Steps as dots with whiskers from 0 to 100%: filled the last quarters, hollow the four before."""
    rows = found.items
    if not any(row.now.share or row.then.share for row in rows):
        return None
    figure = go.Figure(layout={"template": TEMPLATE})
    named: list[dict[str, Any]] = []
    last, short = ("last four quarters", "last four") if len(found.now) == WINDOW else ("last quarters", "last")
    for side, shift, symbol, color, name, brief in (
        ("then", 0.17, "circle-open", NEUTRAL, "four quarters before", "before"),
        ("now", -0.17, "circle", ACCENT, last, short),
    ):
        shown = [(at, row, share) for at, row in enumerate(rows) if (share := getattr(row, side).share)]
        if not shown:
            continue
        ends = [percent(share) for _, _, share in shown]
        figure.add_trace(
            dots(
                [point for point, _, _ in ends],
                [at + shift for at, _, _ in shown],
                color=color,
                symbols=symbol,
                error_x=whiskers(ends, color),
                hovertext=[step_hover(ITEM[row.code], name, getattr(row, side)) for _, row, _ in shown],
                hoverinfo="text",
            )
        )
        named.append({"name": name, "short": brief, "at": shown[0][0] + shift, "ends": ends[0], "color": color})
    for at, row in enumerate(rows):
        if row.now.share is None and row.then.share is None:
            words = f"{row.now.judged} judged: too few" if row.now.judged.value else "none judged"
            figure.add_annotation(note(words, x=1, y=at, xanchor="left", bgcolor=_WHITE))
    names = [ITEM[row.code] for row in rows]
    whole = found.facility.now.share
    if whole is not None:
        at_whole = percent(whole)[0]
        figure.add_vline(x=at_whole, line={"color": INK, "width": 1.5, "dash": "dash"})
        figure.add_annotation(
            note(f"all steps now {whole.value}", x=at_whole, y=1, yref="paper", yanchor="bottom", color=INK,
                 xanchor="right" if at_whole > 100 - _HALF else ("left" if at_whole < _HALF else "center"))
        )  # fmt: skip
    figure.update_layout(margin={"r": 26}, **ROWS)  # the last tick's name stands half beyond the axis
    figure.update_xaxes(range=[0, 100], dtick=25, ticksuffix="%", showgrid=True)
    figure.update_yaxes(
        tickvals=list(range(len(rows))), ticktext=[safe(name) for name in names], showgrid=False,
        range=[len(rows) - 0.4, -0.6], tickfont={"size": 13, "color": INK},
    )  # fmt: skip
    kept = plain(figure)["layout"].get("annotations", [])
    for one in named:
        figure.add_annotation(_side_note(one, one["name"], 13))
    return Picture(
        id="audits",
        title=_title(found),
        description=_items_description(found),
        figure=plain(figure),
        narrow={
            "annotations": [*kept, *(_side_note(one, one["short"], 12) for one in named)],
            "yaxis.ticktext": ["<br>".join(safe(line) for line in textwrap.wrap(n, _NARROW_NAME)) for n in names],
            "yaxis.tickfont.size": 12,
            "xaxis.dtick": 50,
        },
        height=100 + 36 * max(len(rows), 3),
        narrow_height=110 + 42 * max(len(rows), 3),
    )


def percent(share: Estimate) -> tuple[float, float, float]:
    """A share and its ends as percentages, for drawing."""
    return 100 * value_of(share.value), 100 * value_of(share.lower), 100 * value_of(share.upper)


def _side_note(one: dict[str, Any], text: str, size: int) -> dict[str, Any]:
    """What the dots of one kind are, beside the first of them, on the side that has room."""
    _, low, high = one["ends"]
    is_left = low > _HALF
    return note(
        text, x=low if is_left else high, y=one["at"], xanchor="right" if is_left else "left",
        xshift=-6 if is_left else 6, color=one["color"], size=size, bgcolor=_WHITE,
    )  # fmt: skip


def step_hover(name: str, when: str, steps: Judged, *, judged: bool = True) -> str:
    """The numbers of a point, the same text as in the table; ``judged``: how many steps too."""
    text = f"{safe(name)}, {when}"
    if judged:
        text += f"<br>{steps.judged} judged"
    if steps.share is not None:
        text += f"<br>{steps.share.value} done as taught, likely {steps.share.lower} to {steps.share.upper}"
    return text


def _title(found: AuditsEvidence) -> Sentence:
    row = found.facility
    if row.now.share is None:
        return say("Audited steps done as taught, step by step")
    ending = {
        HIGHER: ", higher than in the four before",
        LOWER: ", lower than in the four before",
        CANNOT_TELL: "; no clear change from the four before",
        COUNTS_ONLY: "",
        NO_DATA: "",
    }[row.verdict]
    when = "last four quarters" if len(found.now) == WINDOW else "complete quarters so far"
    return say("Done as taught: ", row.now.share.value, f" of audited steps in the {when}{ending}")


def _items_description(found: AuditsEvidence) -> Sentence:
    text = say(
        "One line for each step of the audit, on a scale from 0 to 100% of the times it was judged. A filled dot is "
        "the share done as taught in the last quarters, a hollow dot that of the four quarters before, the line "
        "through each its likely range; a dashed upright line is the share of all steps together."
    )
    shown = [(share, ITEM[row.code]) for row in found.items if (share := row.now.share)]
    if not shown:
        return text
    low, high = (pick(shown, key=lambda item: value_of(item[0].value)) for pick in (min, max))
    return text + say(
        f"Lowest now: {low[1]}, ", low[0].value, f"; highest: {high[1]}, ", high[0].value, ". The table gives every "
        "number.",
    )  # fmt: skip


def finding(found: AuditsEvidence, count: Counter) -> Finding:
    """The numbered finding on technique audits for the committee."""
    tables = (
        rows_table(found, "Audited steps", "Step", [(upper(ITEM[row.code]), row) for row in found.items]),
        rows_table(
            found, "Audited steps by type of transfer", "Transfer",
            [(upper(TRANSFER[row.code]), row) for row in found.transfers],
        ),
        rows_table(found, "Audited steps by unit", "Unit (alphabetical)", [(row.name, row) for row in found.units]),
        quarters_table(found),
    )  # fmt: skip
    present = [table for table in tables if table is not None]
    return count.finding(
        "audits",
        "Technique audits",
        spoken(share_sentence(found), change_sentence(found), least_sentence(found)),
        items_picture(found),
        present[:1],
        () if found.reason else _HOW,
        present[1:],
    )


_HOW = (
    say(
        "Share: steps done as taught ÷ (done as taught + not). A step that did not apply is in neither. The range of a "
        "share is Wilson's interval, that of a change Newcombe's."
    ),
    say(
        "The ranges take each step as if it had been seen alone. The steps of one transfer are seen together and are "
        "alike, so the ranges are a little too narrow (common practice, no source)."
    ),
    say(
        "Many lines are compared at once: now and then one will seem to differ by chance alone. A line with very few "
        "steps judged gives counts only."
    ),
    say(
        "Staff who know that they are watched may take more care than on other days, and which transfers are watched "
        "differs from quarter to quarter (common practice, no source). Audits are for teaching, not for ranking people."
    ),
)
