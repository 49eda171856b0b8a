"""The same question asked in other ways: one row each, the same columns, and whether they agree."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from handling_review.evidence import designs, designs_by_person, designs_by_unit, numbers
from handling_review.evidence.contrast import HIGHER, LOWER
from handling_review.evidence.ladder import LABELS, NO_RATIO, Ladder, Rung, rung
from handling_review.evidence.numbers import Number
from handling_review.evidence.panel import (
    ADJUSTED,
    BEFORE_AFTER,
    NO_CASE,
    STAGGERED,
    Designed,
    Panel,
    Personal,
)
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tables import ResultTables
from handling_review.program import Program
from handling_review.stats import ratios

WASHOUTS = (0, 30, 90, 180)  # days; each is the first day of a band of days since training
PANDEMIC = (date(2020, 1, 1), date(2022, 12, 31))  # staffing, census and the log itself were out of the ordinary
MEASURE_WORDS = {"patient_days": "patient day", "transfers": "transfer"}


@dataclass(frozen=True)
class Row:
    """One way of asking. ``what`` names the change, ``how`` the design that was asked.

    ``exposure`` is what stands under the cases where that is not hours ("" for hours); the two amounts are then in
    ``now_amount`` and ``then_amount`` of ``exposure`` instead of hours.

    ``is_repeat``: another row is the very same comparison, so that this one is not counted.
    """

    name: str
    what: str
    how: str
    rung: Rung
    exposure: str
    now_amount: Number
    then_amount: Number
    is_repeat: bool = False


@dataclass(frozen=True)
class Agreement:
    """How the other rows stand to the main one.

    ``with_answer`` rows have a ratio; ``same_side`` of them lie on the same side of 1 as the main one; ``lower``,
    ``higher`` and ``cannot_tell`` count their verdicts. ``lowest`` and ``highest`` are the ends of their ratios.
    """

    rows: Number
    with_answer: Number
    same_side: Number
    lower: Number
    higher: Number
    cannot_tell: Number
    lowest: Number
    highest: Number


@dataclass(frozen=True)
class Sensitivity:
    """Every row beside the main one, and their agreement with it (``None`` where the main one has no ratio)."""

    main: Row
    rows: tuple[Row, ...]
    agreement: Agreement | None


def gather(strata: Strata, ladder: Ladder, tables: ResultTables, program: Program) -> Sensitivity:
    """All rows for the primary series; ``ladder`` is its ladder."""
    main = _row("main", "Main answer", ladder.primary, ladder.lead)
    rows = [
        _row(f"design_{item.design}", "Another design", item.design, item)
        for item in ladder.rungs
        if item.design != ladder.primary
    ]
    rows += _by_washout(strata, ladder, program)
    rows += _by_definition(strata, ladder, program)
    rows += _other_model(strata, ladder, program)
    rows += _by_exposure(strata, ladder, tables, program)
    return Sensitivity(main, tuple(rows), _agreement(main, [row for row in rows if not row.is_repeat]))


def _row(name: str, what: str, design: str, item: Rung, exposure: str = "") -> Row:
    return Row(name, what, LABELS.get(design, design), item, exposure, item.now_hours, item.then_hours)


def _rung(name: str, ladder: Ladder, item: Designed, program: Program, years: float = math.nan) -> Rung:
    return rung(f"facility/{name}", ladder.series, item, years, program)


def _by_washout(strata: Strata, ladder: Ladder, program: Program) -> Iterator[Row]:
    """Before and after with other washouts; the program file's own repeats the row of the design."""
    for days in WASHOUTS:
        personal = strata.personal(ladder.series, washout_days=max(days, 1))
        found = designs_by_person.before_after(personal, program.analysis.confidence)
        item = _rung(f"washout_{days}", ladder, found, program, personal.years_apart)
        is_own = days == program.training.washout_days
        what = f"Washout of {days} days after training{', as in the program file' if is_own else ''}"
        yield replace(_row(f"washout_{days}", what, BEFORE_AFTER, item), is_repeat=is_own)


def _by_definition(strata: Strata, ladder: Ladder, program: Program) -> Iterator[Row]:
    """The leading design with other cases, other people and other times; and the unit's start instead of persons'."""
    frame, series, level = strata.frame, ladder.series, program.analysis.confidence
    by_start = strata.by_start(series)
    yield _row(
        "unit_start",
        "By the unit's start, everybody's hours",
        BEFORE_AFTER,
        _rung("unit_start", ladder, designs_by_person.before_after(by_start, level), program, by_start.years_apart),
    )
    current = frame[~frame["lapsed"].astype(bool)]
    personal = strata.personal(series, current)
    yield _row(
        "training_current",
        "Only training that has not lapsed",
        BEFORE_AFTER,
        _rung(
            "training_current", ladder, designs_by_person.before_after(personal, level), program, personal.years_apart
        ),
    )
    # By the days, not the label: a year that starts in October is named after the one it ends in.
    touched = [name for name, (start, end) in strata.spans.items() if start <= PANDEMIC[1] and end >= PANDEMIC[0]]
    pandemic = frame["quarter"].isin(touched)
    variants: list[tuple[str, str, str, pd.DataFrame]] = [
        ("recordable", "All recordable injuries", "recordable", frame),
        ("dart", "DART injuries only", "dart", frame),
        ("without_agency", "Without agency staff", series, frame[~frame["is_agency"].astype(bool)]),
        (
            "without_remedial",
            "Without training that followed an own injury",
            series,
            frame[~frame["is_remedial"].astype(bool)],
        ),
        ("first_event", "Only the first handling injury of each person", "first_handling", frame),
        ("without_respiratory", "Without respiratory illness", "handling_not_respiratory", frame),
    ]
    if pandemic.any():
        variants.append(("without_2020_22", "Without the years 2020 to 2022", series, frame[~pandemic]))
    for name, what, column, rows in variants:
        if column == series and rows is frame:
            continue  # it is the main row itself
        item = ask(strata, ladder.primary, column, rows, level)
        years = strata.personal(column, rows).years_apart
        yield _row(name, what, ladder.primary, _rung(name, ladder, item, program, years))


def ask(strata: Strata, design: str, column: str, rows: pd.DataFrame, level: float) -> Designed:
    """One design on some rows and one column of cases."""
    by_person: Mapping[str, Callable[[Personal, float], Designed]] = designs.BY_PERSON
    if design in by_person:
        return by_person[design](strata.personal(column, rows), level)
    return designs.BY_UNIT[design](strata.panel(column, rows), level)


def _other_model(strata: Strata, ladder: Ladder, program: Program) -> Iterator[Row]:
    """Negative binomial errors on the leading model, or on the unit-and-year model where no model leads."""
    design = ladder.primary if ladder.primary in (STAGGERED, ADJUSTED) else ADJUSTED
    panel = strata.panel(ladder.series)
    plain = designs.BY_UNIT[design](panel, program.analysis.confidence)
    found = plain if plain.reason else _negative_binomial(panel, plain, design, program)
    yield _row(
        "negative_binomial", "Negative binomial errors", design, _rung("negative_binomial", ladder, found, program)
    )


def _negative_binomial(panel: Panel, plain: Designed, design: str, program: Program) -> Designed:
    fit = designs_by_unit.fitted(panel, design, program.analysis.confidence, "negative_binomial")
    if fit.method not in ("negative_binomial", "quasi_poisson"):  # the latter: no spread beyond chance
        return replace(plain, estimate=math.nan, reason="the model could not be fitted to so few cases")
    return replace(plain, estimate=fit.estimate, lower=fit.lower, upper=fit.upper, p_value=fit.p_value)


def _by_exposure(strata: Strata, ladder: Ladder, tables: ResultTables, program: Program) -> Iterator[Row]:
    """Cases per patient day or transfer, before and after the unit's start, in the units that state them."""
    exposure = tables.exposure[tables.exposure["quarter"].isin(list(strata.complete))]
    cells = ["unit", "quarter", "go_live_phase"]
    for measure in sorted(str(name) for name in exposure["measure"].unique()):
        amounts = exposure[exposure["measure"] == measure].groupby(cells)["quantity"].sum()
        cases = strata.frame.groupby(cells)[ladder.series].sum().reindex(amounts.index, fill_value=0)
        sides = {}
        for side in ("after", "before"):
            rows = amounts.index.get_level_values("go_live_phase") == side
            sides[side] = (float(np.asarray(cases)[rows].sum()), float(np.asarray(amounts)[rows].sum()))
        (events1, amount1), (events0, amount0) = sides["after"], sides["before"]
        word = MEASURE_WORDS.get(measure, measure.replace("_", " "))
        name = f"per_{measure}"
        blank = Designed(BEFORE_AFTER, events1=events1, events0=events0)
        if amount1 > 0 and amount0 > 0 and events1 + events0 > 0:
            found = ratios.rate_ratio(events1, amount1, events0, amount0, confidence=program.analysis.confidence)
            item = replace(blank, estimate=found.estimate, lower=found.lower, upper=found.upper, p_value=found.p_value)
        else:
            lacks = amount1 <= 0 or amount0 <= 0
            item = replace(blank, reason=f"no {word}s are stated on one of the two sides" if lacks else NO_CASE)
        years = strata.by_start(ladder.series).years_apart
        row = _row(
            name,
            f"Per {word}, by the unit's start",
            BEFORE_AFTER,
            _rung(name, ladder, item, program, years),
        )
        yield replace(
            row,
            exposure=f"{word}s",
            now_amount=numbers.quantity(f"amount_with/facility/{name}", amount1, f"{word}s"),
            then_amount=numbers.quantity(f"amount_without/facility/{name}", amount0, f"{word}s"),
        )


def _agreement(main: Row, rows: list[Row]) -> Agreement | None:
    if main.rung.ratio is None or main.rung.ratio.value.value is None:
        return None
    found = [
        (float(row.rung.ratio.value.value), row.rung.verdict)
        for row in rows
        if row.rung.ratio is not None and row.rung.ratio.value.value is not None
    ]
    centre = main.rung.ratio.value.value
    same = sum((value < 1) == (centre < 1) for value, _ in found)
    verdicts = [verdict for _, verdict in found]
    values = [value for value, _ in found]

    def counted(name: str, value: int) -> Number:
        return numbers.count(f"sensitivity_{name}/facility", value, "rows")

    lower, higher = verdicts.count(LOWER), verdicts.count(HIGHER)
    return Agreement(
        rows=counted("rows", len(rows)),
        with_answer=counted("with_answer", len(found)),
        same_side=counted("same_side", same),
        lower=counted("lower", lower),
        higher=counted("higher", higher),
        cannot_tell=counted("cannot_tell", len([v for v in verdicts if v not in (LOWER, HIGHER, NO_RATIO)])),
        lowest=numbers.ratio("sensitivity_lowest/facility", min(values, default=math.nan)),
        highest=numbers.ratio("sensitivity_highest/facility", max(values, default=math.nan)),
    )
