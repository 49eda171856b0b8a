"""Tables of the answer: the designs, the other ways of asking, time since training."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from handling_review.evidence.assemble import Review
from handling_review.evidence.contrast import CANNOT_TELL
from handling_review.evidence.ladder import Ladder, Rung
from handling_review.evidence.sensitivity import Row
from handling_review.evidence.unit_series import StartSeries
from handling_review.page.glyph import rate_scale, ratio_glyph
from handling_review.page.sentence import say
from handling_review.page.tables import RATE_COLUMNS, Cell, Column, Table, estimate_range, rate_cells, rate_notes
from handling_review.page.words import notes as words_notes
from handling_review.page.words.answer import SHORT, WORD, bears_out
from handling_review.page.words.rates import SERIES_NAME, upper

COLUMNS = (
    Column("Cases with", "number"),
    Column("Hours with", "number"),
    Column("Cases without", "number"),
    Column("Hours without", "number"),
    Column("Ratio", "number"),
    Column("Likely between", "number"),
    Column("Picture", "picture"),
    Column("Answer"),
)
RATIO = (Column("Ratio", "number"), Column("Likely between", "number"), Column("Picture", "picture"))


def _answer(rung: Rung) -> str:
    word = WORD[rung.verdict]
    if rung.few and rung.ratio is not None:
        return f"{word}, few cases"
    high = None if rung.ratio is None else rung.ratio.upper.value
    if rung.verdict == CANNOT_TELL and high is not None and round(high, 2) < 1:
        return f"{word}\u00a0{words_notes.FALL_MARK}"
    return word


def _cells(rung: Rung, now: Cell | None = None, then: Cell | None = None) -> tuple[Cell, ...]:
    return (
        rung.now_events,
        rung.now_hours if now is None else now,
        rung.then_events,
        rung.then_hours if then is None else then,
        rung.ratio.value if rung.ratio else "",
        estimate_range(rung.ratio),
        ratio_glyph(rung.ratio, is_open=rung.few),
        _answer(rung),
    )


def _notes(rungs: Sequence[Rung]) -> tuple[str, ...]:
    return (
        *((words_notes.RATIO_SCALE,) if any(rung.ratio for rung in rungs) else ()),
        *((words_notes.FALL,) if any(words_notes.FALL_MARK in _answer(rung) for rung in rungs) else ()),
    )


def _any_hours(rungs: Iterable[Rung]) -> bool:
    """Whether there is anything to compare: rows of noughts alone are no table."""
    return any(rung.now_hours.value or rung.then_hours.value for rung in rungs)


def front_table(review: Review) -> Table:
    """The leading design and plain before and after, for page one."""
    ladder = review.answer.ladder
    names = dict.fromkeys((ladder.primary, "before_after", "negative_control"))
    rungs = [ladder.of(name) for name in names]
    return Table(
        f"{upper(SERIES_NAME[ladder.series])} with the program and without it",
        (Column("How compared"), *COLUMNS[:-1], Column("Answer", "label")),
        tuple((SHORT[rung.design], *_cells(rung)) for rung in rungs) if _any_hours(rungs) else (),
        _notes(rungs),
    )


def ladder_table(ladder: Ladder) -> Table:
    """All designs of one series, weakest first; the leading one is named."""
    return Table(
        f"{upper(SERIES_NAME[ladder.series])} by every design, weakest first",
        (Column("How compared"), *COLUMNS),
        tuple(
            (SHORT[rung.design] + (" (main answer)" if rung.design == ladder.primary else ""), *_cells(rung))
            for rung in ladder.rungs
        )
        if _any_hours(ladder.rungs)
        else (),
        _notes(ladder.rungs),
    )


def checks_table(ladder: Ladder) -> Table:
    """What each design takes for granted, and whether the data bear it out; one row an assumption."""
    rows: list[tuple[Cell, ...]] = []
    for rung in ladder.rungs:
        name = SHORT[rung.design]
        if rung.reason:
            rows.append((name, "", "not possible", f"{upper(rung.reason)}."))
        rows += [(name, check.assumption, bears_out(check), check.seen) for check in rung.checks]
    return Table(
        "What each design takes for granted, and what the data say of it",
        (
            Column("How compared"),
            Column("Taken for granted"),
            Column("Do the data bear it out?"),
            Column("What was seen"),
        ),
        tuple(rows),
    )


def sensitivity_table(review: Review) -> Table:
    """Every other way of asking in one table, the main answer first."""
    found = review.answer.sensitivity
    rows = (found.main, *found.rows)
    return Table(
        "The main answer and the same question asked in other ways",
        (Column("Question"), Column("How compared"), *COLUMNS),
        tuple(_sensitivity_row(row) for row in rows) if _any_hours(row.rung for row in rows) else (),
        _notes([row.rung for row in rows]),
    )


def _sensitivity_row(row: Row) -> tuple[Cell, ...]:
    now: Cell | None = None
    then: Cell | None = None
    if row.exposure:
        now, then = say(row.now_amount, f" {row.exposure}"), say(row.then_amount, f" {row.exposure}")
    return (row.what, _how(row), *_cells(row.rung, now, then))


def _how(row: Row) -> str:
    is_by_start = row.name == "unit_start" or bool(row.exposure)
    return "Before and after the unit's start" if is_by_start else SHORT[row.rung.design]


def label(row: Row) -> str:
    """What a row is called: its change, or its design where the design is the change."""
    return SHORT[row.rung.design] if row.name.startswith("design_") else row.what


def bands_table(review: Review) -> Table:
    """Rates by time since training, the lapsed and the time before beside them."""
    bands = review.answer.bands
    items = [*bands.bands, bands.lapsed, bands.untrained]
    rates = [item.rate for item in items]
    scale = rate_scale(rates)
    return Table(
        f"{upper(SERIES_NAME[bands.series])} by time since training, per 200,000 hours",
        (Column("Time since training", "label"), *RATE_COLUMNS),
        tuple((upper(item.name), *rate_cells(item.rate, scale)) for item in items)
        if any(rate.hours.value for rate in rates)
        else (),
        rate_notes(rates, review),
    )


def unit_steps_table(review: Review) -> Table:
    """The step at each unit's own start, or why there is none."""
    names = {row.unit: row.name for row in review.units.rows}
    return Table(
        "The step at each unit's own start",
        (Column("Unit", "label"), Column("Start", "label"), *RATIO, Column("Remark")),
        tuple(
            (
                "All units with the program" if not item.unit else names.get(item.unit, item.unit),
                item.start,
                item.level.value if item.level else "",
                estimate_range(item.level),
                ratio_glyph(item.level),
                upper(item.reason or "; ".join(item.notes)),
            )
            for item in review.answer.series
        ),
    )


def series_table(series: StartSeries) -> Table:
    """The quarters of the fitted series: seen, fitted, and the line before carried on."""
    return Table(
        "Rates by quarter and the line before carried on, per 200,000 hours",
        (
            Column("Quarter", "label"),
            Column("Rate seen", "number"),
            Column("Fitted", "number"),
            Column("Line before carried on", "number"),
            Column("Likely between", "number"),
        ),
        tuple(
            (
                point.quarter,
                point.seen if point.seen is not None else "no hours",
                point.fitted or "",
                point.had_nothing_changed or "",
                "" if point.lower is None or point.upper is None else say(point.lower, " to ", point.upper),
            )
            for point in series.points
        ),
    )


def chance_table(review: Review) -> Table | None:
    """Early units against the rest in the quarters before the first start."""
    chance = review.answer.chance
    if chance.early is None or chance.rest is None:
        return None
    rates = [chance.early, chance.rest]
    scale = rate_scale(rates)
    return Table(
        f"{upper(SERIES_NAME[chance.early.series])}, {chance.quarters[0]} to {chance.quarters[-1]}, per 200,000 hours",
        (Column("Units", "label"), *RATE_COLUMNS),
        (
            ("Started first", *rate_cells(chance.early, scale)),
            ("Started later or not", *rate_cells(chance.rest, scale)),
        ),
        rate_notes(rates, review),
    )


def present(*items: Table | None) -> tuple[Table, ...]:
    """The tables that there are."""
    return tuple(item for item in items if item is not None)
