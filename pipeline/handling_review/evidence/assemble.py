"""All evidence of one review in one object."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pandas as pd

from handling_review.evidence import (
    accounting,
    actions,
    answer,
    before_after,
    numbers,
    rates,
    reconciliation,
    reference,
    reporting,
    training,
    unit_spread,
    units,
    watch,
)
from handling_review.evidence.numbers import Number
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tables import ResultTables, Scope
from handling_review.program import Program

_BOUNDS = 3  # undecided cases all counted, before only, after only


@dataclass(frozen=True)
class DiaryEntry:
    """Something that happened on a day, for one unit or for all ("all")."""

    date: date
    quarter: str
    unit: str
    what: str


@dataclass(frozen=True)
class Review:
    """Everything the page and the tables print.

    ``looks`` counts how often two rates are set against each other; ``numbers`` lists each published number
    once, by key.
    """

    scope: Scope
    program: Program
    rates: rates.RatesEvidence
    before_after: before_after.BeforeAfter
    answer: answer.Answer
    watch: watch.Watch
    training: training.TrainingEvidence
    units: units.UnitsEvidence
    spread: unit_spread.UnitSpread
    accounting: accounting.AccountingEvidence
    reporting: reporting.ReportingEvidence
    reference: reference.ReferenceEvidence
    reconciliation: reconciliation.Reconciliation
    actions: tuple[actions.Candidate, ...]
    diary: tuple[DiaryEntry, ...]
    looks: Number
    numbers: tuple[Number, ...]

    @property
    def series(self) -> str:
        """The primary series of the program file."""
        return self.program.analysis.series


def assemble(tables: ResultTables, scope: Scope, program: Program) -> Review:
    """The review's evidence from one build's result tables.

    Raises ``ValueError`` when two published numbers share a key.
    """
    rate = rates.gather(tables, program)
    complete = rate.complete()
    change = before_after.gather(tables, complete, program)
    worked = answer.gather(tables, complete, change, program)
    chart = watch.gather(rate.quarters, Strata(tables, complete), program)
    coverage = training.gather(tables, complete, units.unit_names(tables), program)
    unit = units.gather(tables, complete, program)
    apart = unit_spread.gather(unit, program)
    rows = accounting.gather(tables)
    mix = reporting.gather(tables, complete, program)
    published_rates = reference.gather(tables, scope.facility_naics)
    posted = reconciliation.gather(tables)
    candidates = actions.gather(actions.Basis(rate, change, coverage, unit, rows, mix))
    looks = numbers.count(
        "comparisons/review",
        len(rate.comparisons)
        + len(change.contrasts)
        + len(worked.sensitivity.rows)
        + len(change.variants)
        + _BOUNDS
        + len(unit.compared()),
        "comparisons",
    )
    return Review(
        scope=scope,
        program=program,
        rates=rate,
        before_after=change,
        answer=worked,
        watch=chart,
        training=coverage,
        units=unit,
        spread=apart,
        accounting=rows,
        reporting=mix,
        reference=published_rates,
        reconciliation=posted,
        actions=candidates,
        diary=_diary(tables.events_diary, tables.quarters),
        looks=looks,
        numbers=numbers.published(
            rate, change, worked, chart, coverage, unit, apart, rows, mix, published_rates, posted, candidates, looks
        ),
    )


def _diary(frame: pd.DataFrame, quarters: pd.DataFrame) -> tuple[DiaryEntry, ...]:
    spans = [
        (rates.as_date(q["quarter_start"]), rates.as_date(q["quarter_end"]), str(q["quarter"]))
        for q in quarters.to_dict("records")
    ]
    entries = []
    for row in frame.to_dict("records"):
        day = rates.as_date(row["date"])
        quarter = next((label for start, end, label in spans if start <= day <= end), "")
        unit = "all" if pd.isna(row["unit"]) or not str(row["unit"]).strip() else str(row["unit"])
        entries.append(DiaryEntry(day, quarter, unit, str(row["what"])))
    return tuple(sorted(entries, key=lambda entry: (entry.date, entry.unit, entry.what)))
