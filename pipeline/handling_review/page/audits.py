"""Technique audits: sentences, picture, tables."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from handling_review.evidence.audits import (
    WINDOW,
    AuditRow,
    AuditsEvidence,
    Judged,
)
from handling_review.evidence.contrast import Estimate
from handling_review.evidence.quarters import stretches
from handling_review.page.drawing import Drawing
from handling_review.page.glyph import share_glyph
from handling_review.page.house import (
    ACCENT,
    INK,
    NEUTRAL,
    ROWS,
    Picture,
    dots,
    note,
    plain,
    safe,
    value_of,
    whiskers,
)
from handling_review.page.labels import ITEM, TRANSFER
from handling_review.page.numbered import Counter, Finding
from handling_review.page.sentence import spoken
from handling_review.page.tables import VERDICTS, Cell, Column, Table, estimate_cells, estimate_range
from handling_review.page.words import audits as words
from handling_review.page.words.rates import upper

_NARROW_NAME = 16  # characters of a step's name on one line of a small screen
_HALF = 45.0  # percent; a whisker that ends left of it has its name on the right
_WHITE = "rgba(255,255,255,0.85)"


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
        (words.NOT_APPLICABLE_NOTE,),
    )


def items_picture(found: AuditsEvidence) -> Picture | None:
    """Steps as dots with whiskers from 0 to 100%: filled the last quarters, hollow the four before."""
    rows = found.items
    if not any(row.now.share or row.then.share for row in rows):
        return None
    figure = Drawing()
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
            judged = f"{row.now.judged} judged: too few" if row.now.judged.value else "none judged"
            figure.add_annotation(note(judged, x=1, y=at, xanchor="left", bgcolor=_WHITE))
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
        title=words.steps_title(found),
        description=words.steps_description(found),
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
        spoken(words.share_sentence(found), words.change_sentence(found), words.least_sentence(found)),
        items_picture(found),
        present[:1],
        () if found.reason else words.HOW,
        present[1:],
    )
