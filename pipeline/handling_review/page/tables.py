"""Tables of the page: captions, headed columns, and cells that are text, numbers or small pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handling_review.evidence.assemble import Review
from handling_review.evidence.contrast import Contrast, Estimate
from handling_review.evidence.measure import Rate
from handling_review.evidence.numbers import Number
from handling_review.evidence.quarters import previous
from handling_review.evidence.stated import settings
from handling_review.evidence.training import STATUSES, Coverage
from handling_review.page.glyph import (
    Glyph,
    Scale,
    bar_glyph,
    rate_glyph,
    rate_scale,
    ratio_glyph,
    share_glyph,
)
from handling_review.page.sentence import Sentence, say
from handling_review.page.words import notes as words_notes
from handling_review.page.words.data import day
from handling_review.page.words.notes import FEW_MARK, PROVISIONAL_MARK, SOME_MARK
from handling_review.page.words.rates import SERIES_NAME, upper

Cell = str | Number | Sentence | Glyph | None


@dataclass(frozen=True)
class Column:
    """One headed column; ``kind`` is text, label (kept on one line), code, number or picture."""

    title: str
    kind: str = "text"


@dataclass(frozen=True)
class Table:
    """One table with its caption; the first cell of each row is the row's header. ``notes`` stand below."""

    caption: str | Sentence
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[str | Sentence, ...] = ()


_LATEST = 8  # quarters side by side: more do not fit a printed page; all of them stand in the tables folder
RATE_COLUMNS = (
    Column("Cases", "number"),
    Column("Hours", "number"),
    Column("Rate", "number"),
    Column("Likely between", "number"),
    Column("Picture", "picture"),
)


def interval(rate: Rate) -> Cell:
    """The likely range in a cell, or the upper limit, or the reason why there is none."""
    if rate.limit is not None:
        return say("at most ", rate.limit)
    if rate.lower is None or rate.upper is None:
        return ""
    return say(rate.lower, " to ", rate.upper)


def estimate_range(estimate: Estimate | None) -> Cell:
    """The likely range of an estimate in a cell."""
    return "" if estimate is None else say(estimate.lower, " to ", estimate.upper)


def estimate_cells(estimate: Estimate | None) -> tuple[Cell, Cell]:
    """An estimate and its likely range, both empty where there is none."""
    return "" if estimate is None else estimate.value, estimate_range(estimate)


def rate_cells(rate: Rate, scale: Scale, mark: Number | None = None, *, is_open: bool = False) -> tuple[Cell, ...]:
    """Cases, hours, rate, range and picture of one rate; a withheld rate gives its reason instead."""
    shown: Cell = rate.rate if rate.rate is not None else "no rate"
    if rate.rate is not None and rate.reliability != "plain":
        shown = say(rate.rate, f"\u00a0{SOME_MARK}")
    if rate.rate is None and rate.limit is not None:
        shown = say(f"no rate\u00a0{FEW_MARK}")
    return (
        rate.events,
        rate.hours,
        shown,
        interval(rate) if rate.rate is not None or rate.limit is not None else rate.withheld,
        rate_glyph(rate, scale, mark, is_open=is_open),
    )


def rate_notes(rates: Sequence[Rate], review: Review) -> tuple[str | Sentence, ...]:
    """The notes that explain the marks used in a column of rates."""
    stated = settings(review.program)
    notes: list[str | Sentence] = []
    if any(r.rate is not None and r.reliability != "plain" for r in rates):
        notes.append(words_notes.some_note(stated.unstable_below))
    if any(r.rate is None and r.limit is not None for r in rates):
        notes.append(words_notes.few_note(stated.unreliable_below))
    return tuple(notes)


def quarters_table(review: Review, series: str) -> Table:
    """One row a quarter for one series."""
    spans = review.rates.quarters
    rates = [span.of(series) for span in spans]
    scale = rate_scale(rates)
    rows = tuple(
        (
            span.quarter + (f"\u00a0{PROVISIONAL_MARK}" if span.is_provisional else ""),
            *rate_cells(span.of(series), scale, is_open=span.is_provisional),
        )
        for span in spans
    )
    notes = list(rate_notes(rates, review))
    if any(span.is_provisional for span in spans):
        notes.append(words_notes.PROVISIONAL)
    return Table(
        f"{upper(SERIES_NAME[series])} by quarter, per 200,000 hours",
        (Column("Quarter", "label"), *RATE_COLUMNS),
        rows,
        tuple(notes),
    )


def four_quarters_table(review: Review, series: str) -> Table:
    """One row for each run of four quarters."""
    spans = review.rates.rolling
    rates = [span.of(series) for span in spans]
    scale = rate_scale(rates)
    return Table(
        f"{upper(SERIES_NAME[series])} over four quarters, per 200,000 hours",
        (Column("Four quarters to", "label"), *RATE_COLUMNS),
        tuple((span.quarter, *rate_cells(span.of(series), scale)) for span in spans),
        rate_notes(rates, review),
    )


def series_table(review: Review) -> Table | None:
    """The main series side by side over the last four complete quarters; none without four."""
    recent = review.rates.recent
    if recent is None:
        return None
    rates = [recent.of(series) for series in ("handling", "non_handling", "recordable", "dart", "days_away")]
    scale = rate_scale(rates)
    return Table(
        f"Kinds of injury, four quarters to {recent.quarter}, per 200,000 hours",
        (Column("Kind"), *RATE_COLUMNS),
        tuple((upper(SERIES_NAME[rate.series]), *rate_cells(rate, scale)) for rate in rates),
        (
            *rate_notes(rates, review),
            words_notes.KINDS_OVERLAP,
        ),
    )


def _span(quarters: tuple[str, ...]) -> str:
    """Which quarters a table covers; gaps between them are said."""
    if len(quarters) < 2:
        return "".join(quarters) or "no complete quarter"
    has_gap = previous(quarters[-1], len(quarters) - 1) != quarters[0]
    return f"{quarters[0]} to {quarters[-1]}{', complete quarters only' if has_gap else ''}"


def units_table(review: Review, window: str) -> Table:
    """Units in alphabetical order over one window (recent or overall)."""
    units = review.units
    is_recent = window == "recent"
    rates = [row.recent if is_recent else row.overall for row in units.rows]
    whole = units.facility_recent if is_recent else units.facility_overall
    quarters = units.recent_quarters if is_recent else units.overall_quarters
    scale = rate_scale([*rates, whole])
    span = _span(quarters)
    rows = [(row.name, *rate_cells(rate, scale, whole.rate)) for row, rate in zip(units.rows, rates, strict=True)]
    rows.append(("Whole facility", *rate_cells(whole, scale)))
    return Table(
        f"{upper(SERIES_NAME[units.series])} by unit, {span}, per 200,000 hours",
        (Column("Unit (alphabetical)"), *RATE_COLUMNS),
        tuple(rows),
        (*rate_notes([*rates, whole], review), words_notes.FACILITY_MARK),
    )


def rest_table(review: Review) -> Table | None:
    """Each unit against all others together; none when no unit has enough cases."""
    rows = review.units.compared()
    if not rows:
        return None
    return Table(
        "Each unit against all other units together",
        (
            Column("Unit (alphabetical)"),
            Column("Program start"),
            Column("Ratio", "number"),
            Column("Widened range", "number"),
            Column("Picture", "picture"),
        ),
        tuple(
            (
                row.name,
                day(row.program_start) if row.program_start else ("comparison" if row.is_comparison else ""),
                row.against_rest.value if row.against_rest else "",
                estimate_range(row.against_rest),
                ratio_glyph(row.against_rest),
            )
            for row in rows
        ),
        (words_notes.RATIO_MARK,),
    )


_STATUS_TITLES = ("Current", "Lapsed", "Washout", "Not yet trained", "None on record", "Not known")


def coverage_table(review: Review, rows: tuple[Coverage, ...], caption: str, first: str) -> Table:
    """Shares of worked hours by training status."""
    found = []
    for row in rows:
        shares: tuple[Cell, ...] = row.shares or ("",) * len(STATUSES)
        picture = bar_glyph(row.shares[0]) if row.shares else None
        found.append((row.label, row.total, *shares, picture if row.shares else row.reason))
    return Table(
        caption,
        (
            Column(first, "label"),
            Column("Hours", "number"),
            *(Column(title, "number") for title in _STATUS_TITLES),
            Column("Current", "picture"),
        ),
        tuple(found),
    )


def unit_coverage_table(review: Review) -> Table | None:
    """Current (and, where there is any, lapsed) share of hours of each unit in the latest quarters."""
    shown = review.training.unit_quarters[-_LATEST:]
    if not shown:
        return None

    def cell(row: Coverage) -> Cell:
        if not row.shares:
            return ""
        lapsed = row.share("lapsed")
        return say(row.share("current"), " (", lapsed, ")") if lapsed.value else row.share("current")

    units = [row.label for row in shown[-1][1]]
    return Table(
        "Share of hours worked with current training, by unit and quarter",
        (Column("Unit (alphabetical)"), *(Column(quarter, "number") for quarter, _ in shown)),
        tuple((name, *(cell(rows[at]) for _, rows in shown)) for at, name in enumerate(units)),
        (words_notes.LAPSED_IN_BRACKETS,),
    )


def people_table(review: Review) -> Table:
    """People with hours, trained and lapsed, quarter by quarter."""
    return Table(
        "People by quarter",
        (
            Column("Quarter", "label"),
            Column("People with hours", "number"),
            Column("Trained", "number"),
            Column("Lapsed", "number"),
        ),
        tuple((row.quarter, row.with_hours, row.trained, row.lapsed) for row in review.training.people),
    )


_PHASE_NAMES = {
    "before": "Before training",
    "washout": "Washout",
    "after": "After training",
    "never": "No training on record",
    "unknown": "Training not known",
}


def phases_table(review: Review) -> Table:
    """The primary series by phase of training."""
    series = review.series
    phases = review.before_after.phases
    rates = [phase.of(series) for phase in phases]
    scale = rate_scale(rates)
    return Table(
        f"{upper(SERIES_NAME[series])} by phase of training, per 200,000 hours",
        (Column("Phase"), Column("Share of hours", "number"), *RATE_COLUMNS),
        tuple(
            (
                _PHASE_NAMES[phase.phase] + (" (compared)" if phase.in_contrast else ""),
                phase.hours_share,
                *rate_cells(phase.of(series), scale),
            )
            for phase in phases
        )
        if any(rate.hours.value for rate in rates)
        else (),
        rate_notes(rates, review),
    )


RATIO_COLUMNS = (
    Column("Cases after", "number"),
    Column("Cases before", "number"),
    Column("Ratio", "number"),
    Column("Ratio likely between", "number"),
    Column("Ratio as a picture", "picture"),
    Column("Cases avoided", "number"),
    Column("Avoided likely between", "number"),
    Column("Answer", "label"),
)
VERDICTS = {
    "lower": "lower",
    "higher": "higher",
    "cannot_tell": "cannot tell",
    "few_cases": "too few cases",
    "no_data": "nothing to compare",
    "counts_only": "counts only",
}


def contrasts_table(caption: str, first: str, items: Sequence[tuple[str, Contrast]]) -> Table:
    """One comparison a row, with the same columns for each."""
    return Table(
        caption,
        (Column(first), *RATIO_COLUMNS),
        tuple(
            (
                label,
                item.now.events,
                item.then.events,
                item.ratio.value if item.ratio else "",
                estimate_range(item.ratio),
                ratio_glyph(item.ratio, is_open=item.verdict == "few_cases"),
                item.avoided.value if item.avoided else "",
                estimate_range(item.avoided),
                VERDICTS[item.verdict],
            )
            for label, item in items
            if item.now.hours.value or item.then.hours.value
        ),
        (words_notes.BEFORE_AFTER_SCALE,),
    )


def mix_table(review: Review) -> Table:
    """Cases by year and the share of DART cases among the recordable ones."""
    return Table(
        "Cases by calendar year (complete quarters)",
        (
            Column("Year"),
            Column("Hours", "number"),
            Column("First aid", "number"),
            Column("Recordable", "number"),
            Column("DART", "number"),
            Column("Days away", "number"),
            Column("DART share", "number"),
            Column("Likely between", "number"),
            Column("DART share", "picture"),
            Column("Handling not decided", "number"),
            Column("Share", "number"),
        ),
        tuple(
            (
                year.year if year.quarters == 4 else f"{year.year} ({year.quarters} of 4 quarters)",
                year.hours,
                year.first_aid,
                year.recordable,
                year.dart,
                year.days_away,
                year.dart_share.value if year.dart_share else "",
                estimate_range(year.dart_share),
                share_glyph(year.dart_share),
                year.unclassified,
                year.unclassified_share or "",
            )
            for year in review.reporting.years
        ),
        (words_notes.NOT_DECIDED,),
    )
