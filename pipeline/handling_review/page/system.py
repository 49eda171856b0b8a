"""The review of a health system as one HTML file: pooled ratio, each facility, funnel, what was handed on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from markupsafe import Markup

from handling_review import files
from handling_review.evidence.contrast import FEW_CASES
from handling_review.evidence.measure import Rate
from handling_review.evidence.quarters import stretches
from handling_review.evidence.system import PooledRatio, System
from handling_review.page import bundle, funnel
from handling_review.page.build import template_environment
from handling_review.page.figures_compare import Row, forest
from handling_review.page.findings import Part
from handling_review.page.glyph import HEIGHT, WIDTH, rate_scale, ratio_glyph
from handling_review.page.house import Picture, named
from handling_review.page.numbered import Counter, Finding
from handling_review.page.sentence import Sentence, say, spoken
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
from handling_review.page.words import notes as words_notes
from handling_review.page.words import system as words
from handling_review.page.words.funnel import funnel_title
from handling_review.page.words.rates import SERIES_NAME, upper
from handling_review.visible import of_page

MOST_DRAWN = 40  # facilities in the picture; beyond it the table alone is readable


def render(found: System, name: str, received: Sequence[tuple[str, str, str, str, str]]) -> str:
    """The whole page. ``received``: facility, run, day of its exports, version, SHA-256 of the file handed on."""
    part = Part("system", "All facilities", words.PART_LEAD, _findings(found))
    pictures = [picture for finding in part.findings for picture in finding.pictures]
    first, *last = (files.read_text("reports", name) for name in ("first.js", "draw.js", "walk.js"))
    page = (
        template_environment()
        .get_template("system.html.j2")
        .render(
            system=found,
            name=name,
            shared=words.shared(found, SERIES_NAME[found.series], stretches(found.quarters)),
            caution=words.CAUTION,
            restricted=words.RESTRICTED,
            part=part,
            method_lead=words.METHOD_LEAD,
            handed_on=words.handed_on(found),
            received=_received(received),
            terms=words.TERMS,
            sources=words.SOURCES,
            glyph_width=WIDTH,
            glyph_height=HEIGHT,
            style=Markup(files.read_text("reports", "review.css")),
            first_script=Markup(first),
            last_scripts=tuple(Markup(script) for script in last),
            policy=bundle.policy(first, *last),
            plotly=Markup(bundle.plotly_bundle().packed),
            figure_json={picture.id: Markup(picture.json()) for picture in pictures},
        )
    )
    return of_page(str(page))


def _findings(found: System) -> tuple[Finding, ...]:
    count = Counter()
    return (
        count.finding(
            "pooled",
            "Did it change with training?",
            spoken(
                words.pooled_sentence(found.primary),
                words.differ_sentence(found.primary),
                words.silent_sentence(found.primary),
                words.each_sentence(found),
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
            _funnel(found),
            (_rates_table(found),),
            words.HOW_FUNNEL,
        ),
    )


def _forest(found: System) -> Picture | None:
    rows: list[Row] = [
        (
            row.name,
            row.change.ratio,
            row.change.verdict == FEW_CASES,
            f"{named(row.name)}<br>{row.change.now.events.shown} cases after, {row.change.then.events.shown} before",
        )
        for row in found.facilities
    ]
    is_drawn = len(rows) <= MOST_DRAWN
    if not is_drawn:
        rows = []
    average, common = found.primary.average, found.primary.common
    if common is not None:
        rows.append((words.ROW_COMMON, common, False, words.ROW_COMMON))
    if average is not None:
        rows.append((words.ROW_AVERAGE, average, False, words.ROW_AVERAGE))
    if average is None and common is None:
        return None
    return forest(
        "pooled",
        words.title(found.primary),
        rows,
        None,
        sides="after ÷ before",
        description=words.forest_description(is_drawn=is_drawn),
    )


def _funnel(found: System) -> Picture | None:
    """The funnel of units, drawn and told of facilities."""
    drawn = funnel.picture(found.funnel, "all facilities")
    if drawn is None:
        return None
    return replace(drawn, title=funnel_title(found.funnel, "facility"), description=words.FUNNEL_DESCRIPTION)


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
            Column("Kind", "label"), Column("Facilities", "number"), Column("Cases after", "number"),
            Column("Cases before", "number"), Column("Average ratio", "number"), Column("Likely between", "number"),
            Column("Picture", "picture"), Column("One more facility", "number"), Column("One ratio for all", "number"),
            Column("Likely between", "number"),
        ),
        tuple(cells(row) for row in found.pooled),
        (words.POOLED_NOTE,),
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
        (words_notes.BEFORE_AFTER_SCALE,),
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
        _notes(found, [*rates, whole]),
    )


def _notes(found: System, rates: Sequence[Rate]) -> tuple[str | Sentence, ...]:
    notes: list[str | Sentence] = []
    if any(rate.rate is not None and rate.reliability != "plain" for rate in rates):
        notes.append(words_notes.some_note(found.settings.unstable_below))
    if any(rate.rate is None and rate.limit is not None for rate in rates):
        notes.append(words_notes.few_note(found.settings.unreliable_below))
    return (*notes, words.WHOLE_MARK)


def _received(rows: Sequence[tuple[str, str, str, str, str]]) -> Table:
    return Table(
        "Files received",
        (
            Column("Facility"), Column("Run"), Column("Exports taken"), Column("Version"), Column("SHA-256", "code"),
        ),
        tuple(rows),
    )  # fmt: skip
