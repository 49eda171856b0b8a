"""The review of a health system as one HTML file: pooled ratio, each facility, funnel, what was handed on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from markupsafe import Markup

from handling_review import files
from handling_review.evidence.contrast import FEW_CASES
from handling_review.evidence.system import PooledRatio, System
from handling_review.page import bundle, funnel
from handling_review.page.build import template_environment
from handling_review.page.figures_compare import Row, forest
from handling_review.page.findings import Part
from handling_review.page.glyph import HEIGHT, WIDTH, rate_scale, ratio_glyph
from handling_review.page.house import Picture, safe
from handling_review.page.numbered import Counter, Finding
from handling_review.page.sentence import say, spoken
from handling_review.page.tables import (
    RATE_COLUMNS,
    RATIO_COLUMNS,
    VERDICTS,
    Cell,
    Column,
    Table,
    estimate_range,
    rate_cells,
)
from handling_review.page.words import system as words
from handling_review.page.words.rates import SERIES_NAME, upper

MOST_DRAWN = 40  # facilities in the picture; beyond it the table alone is readable
SOURCES = (
    "Stijnen T, Hamza TH, Ozdemir P. Random effects meta-analysis of event outcome in the framework of the "
    "generalized linear mixed model. Statistics in Medicine 2010.",
    "Higgins JPT, Thompson SG, Spiegelhalter DJ. A re-evaluation of random-effects meta-analysis. JRSS A 2009.",
    "Spiegelhalter DJ. Funnel plots for comparing institutional performance. Statistics in Medicine 2005.",
    "29 CFR 1904 (recording of injuries); cases x 200,000 / hours, as the US Bureau of Labor Statistics has it.",
)


def render(found: System, name: str, received: Sequence[tuple[str, str, str, str, str]]) -> str:
    """The whole page. ``received``: facility, run, day of its exports, version, SHA-256 of the file handed on."""
    part = Part(
        "system", "All facilities", "Whether rates changed with training, how far facilities differ, and which to ask.",
        _findings(found),
    )  # fmt: skip
    pictures = [picture for finding in part.findings for picture in finding.pictures]
    first, script = files.read_text("reports", "first.js"), files.read_text("reports", "draw.js")
    return (
        template_environment()
        .get_template("system.html.j2")
        .render(
            system=found,
            name=name,
            series=SERIES_NAME[found.series],
            caution=words.CAUTION,
            part=part,
            handed_on=words.HOW_HANDED_ON,
            received=_received(received),
            sources=SOURCES,
            glyph_width=WIDTH,
            glyph_height=HEIGHT,
            style=Markup(files.read_text("reports", "review.css")),
            first_script=Markup(first),
            draw_script=Markup(script),
            policy=bundle.policy(first, script),
            plotly=Markup(bundle.plotly_bundle().packed),
            figure_json={picture.id: Markup(picture.json()) for picture in pictures},
        )
    )


def _findings(found: System) -> tuple[Finding, ...]:
    count = Counter()
    drawn = funnel.picture(found.funnel)
    return (
        count.finding(
            "pooled",
            "Did it change with training?",
            spoken(
                words.pooled_sentence(found.primary), words.differ_sentence(found.primary), words.each_sentence(found),
                words.other_sentence(found),
            ),
            _forest(found),
            (_pooled_table(found), _facilities_table(found)),
            words.HOW_POOLED,
        ),
        count.finding(
            "facilities",
            "Where: facilities side by side",
            spoken(words.funnel_sentence(found)),
            None if drawn is None else _of_facilities(drawn),
            (_rates_table(found),),
            (
                say(
                    "Facilities stand in alphabetical order, because a ranking of small ones mostly ranks chance. "
                    "Cases and hours of all phases of training are counted."
                ),
            ),
        ),
    )  # fmt: skip


def _forest(found: System) -> Picture | None:
    rows: list[Row] = [
        (
            row.name,
            row.change.ratio,
            row.change.verdict == FEW_CASES,
            f"{safe(row.name)}<br>{row.change.now.events.shown} cases after, {row.change.then.events.shown} before",
        )
        for row in found.facilities
    ]
    if len(rows) > MOST_DRAWN:
        rows = []
    told = found.primary.average or found.primary.common
    if told is None:
        return None
    rows.append(("All facilities, average", told, False, "all facilities, average"))
    return forest(
        "pooled",
        words.title(found.primary),
        rows,
        None,
        sides="after ÷ before",
        description=say(
            "Each row is a facility: a dot for the ratio of its rate after training to its rate before, a line for "
            "the likely range; hollow dots stand on few cases. The last row is the average over all facilities. "
            "The table gives every number."
        ),
    )


def _of_facilities(drawn: Picture) -> Picture:
    """The funnel of units, its words about facilities of a system."""
    return replace(
        drawn,
        title=say(drawn.title.text.replace("unit", "facility")),
        description=say(
            "Funnel. Each dot is a facility, by its hours worked from left to right and its rate from bottom to top. "
            "The solid line is all facilities together; the dashed lines hold 95 in 100 facilities that differ by "
            "chance alone, the dotted ones 998 in 1,000. The table gives every number."
        ),
    )


def _pooled_table(found: System) -> Table:
    def cells(row: PooledRatio) -> tuple[Cell, ...]:
        told = row.average or row.common
        further: Cell = "" if row.prediction is None else say(row.prediction[0], " to ", row.prediction[1])
        return (
            upper(SERIES_NAME[row.series]), row.facilities, row.cases_after, row.cases_before,
            told.value if told else "", estimate_range(told), ratio_glyph(told), further,
            row.common.value if row.common else "", estimate_range(row.common),
        )  # fmt: skip

    return Table(
        "All facilities together, after training to before",
        (
            Column("Kind"), Column("Facilities", "number"), Column("Cases after", "number"),
            Column("Cases before", "number"), Column("Average ratio", "number"), Column("Likely between", "number"),
            Column("Picture", "picture"), Column("A further facility", "number"), Column("One ratio for all", "number"),
            Column("Likely between", "number"),
        ),
        tuple(cells(row) for row in found.pooled),
        (
            "Dashed mark: ratio 1, no change. The scale runs from 0.1 to 10. A further facility: where its true ratio "
            "would lie. The kinds overlap.",
        ),
    )  # fmt: skip


def _facilities_table(found: System) -> Table:
    return Table(
        f"{upper(SERIES_NAME[found.series])}, each facility by itself",
        (Column("Facility (alphabetical)"), *RATIO_COLUMNS),
        tuple(
            (
                row.name, row.change.now.events, row.change.then.events,
                row.change.ratio.value if row.change.ratio else "", estimate_range(row.change.ratio),
                ratio_glyph(row.change.ratio, is_open=row.change.verdict == FEW_CASES),
                row.change.avoided.value if row.change.avoided else "", estimate_range(row.change.avoided),
                VERDICTS[row.change.verdict],
            )
            for row in found.facilities
        ),
    )  # fmt: skip


def _rates_table(found: System) -> Table:
    rates = [row.overall for row in found.units.rows]
    whole = found.units.facility_overall
    scale = rate_scale([*rates, whole])
    limits = {unit.unit: unit for unit in found.funnel.units}

    def lies(name: str) -> Cell:
        unit = limits.get(name)
        return "" if unit is None else say(unit.lower_998, " to ", unit.upper_998)

    rows = [
        (row.name, *rate_cells(rate, scale, whole.rate), lies(row.unit))
        for row, rate in zip(found.units.rows, rates, strict=True)
    ]
    return Table(
        f"{upper(SERIES_NAME[found.series])} by facility, {found.start} to {found.end}, per 200,000 hours",
        (Column("Facility (alphabetical)"), *RATE_COLUMNS, Column("Outer limits of the funnel", "number")),
        (*rows, ("All facilities", *rate_cells(whole, scale), "")),
        ("† few cases: the rate moves a lot with one case more or less. § too few for a rate: an upper limit.",),
    )


def _received(rows: Sequence[tuple[str, str, str, str, str]]) -> Table:
    return Table(
        "Files received",
        (
            Column("Facility"), Column("Run"), Column("Exports taken"), Column("Version"), Column("SHA-256", "code"),
        ),
        tuple(rows),
    )  # fmt: skip
