"""All evidence of one review in one object."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import pandas as pd

from handling_review.evidence import (
    accounting,
    actions,
    answer,
    audits,
    before_after,
    budget,
    chart_study,
    late,
    numbers,
    rates,
    reconciliation,
    reference,
    reporting,
    restated,
    severity,
    stated,
    tasks,
    training,
    training_due,
    unit_funnel,
    unit_spread,
    units,
    watch,
    who,
)
from handling_review.evidence.numbers import Number
from handling_review.evidence.restated_compare import FIRST, Changes
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tables import ResultTables, Scope
from handling_review.program import Program

Changed = Callable[[tuple[Number, ...]], Changes]
_BOUNDS = 5  # undecided cases all counted, before only, after only; all unusable ones for and against


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
    chart_study: chart_study.ChartStudy
    tasks: tasks.TasksEvidence
    severity: severity.SeverityEvidence
    late: late.LateEvidence
    who: who.WhoEvidence
    leading: audits.LeadingEvidence
    audits: audits.AuditsEvidence
    budget: budget.BudgetEvidence
    due: training_due.DueEvidence
    training: training.TrainingEvidence
    units: units.UnitsEvidence
    spread: unit_spread.UnitSpread
    funnel: unit_funnel.UnitFunnel
    accounting: accounting.AccountingEvidence
    reporting: reporting.ReportingEvidence
    reference: reference.ReferenceEvidence
    reconciliation: reconciliation.Reconciliation
    restated: restated.RestatedEvidence
    actions: tuple[actions.Candidate, ...]
    diary: tuple[DiaryEntry, ...]
    looks: Number
    numbers: tuple[Number, ...]

    @property
    def series(self) -> str:
        """The primary series of the program file."""
        return self.program.analysis.series


def _first(_published: tuple[Number, ...]) -> Changes:
    return Changes(FIRST)


def assemble(tables: ResultTables, scope: Scope, program: Program, changed: Changed = _first) -> Review:
    """The review's evidence from one build's result tables.

    ``changed`` tells from the published numbers what changed since the last review; left out, this is the first.
    Raises ``ValueError`` when two published numbers share a key.
    """
    rate = rates.gather(tables, program)
    complete = rate.complete()
    change = before_after.gather(tables, complete, program)
    strata = Strata(tables, complete)
    worked = answer.gather(tables, strata, change, program)
    names = units.unit_names(tables)
    chart = watch.gather(tables, rate, strata, names, program)
    coverage = training.gather(tables, complete, names, program)
    lapses = training_due.gather(tables.training_due, names, scope.as_of, program)
    unit = units.gather(tables, complete, program)
    apart = unit_spread.gather(unit, program)
    around = unit_funnel.gather(unit)
    purse = budget.gather(tables, budget.Basis(worked.ladder.lead, change, coverage, unit, apart), program)
    study = chart_study.gather(chart.units)
    doing = tasks.gather(tables, complete, program)
    lost = severity.gather(tables, rate, program)
    lags = late.gather(tables, rate, scope, program)
    hurt = who.gather(tables, complete, program)
    seen = audits.gather(tables.audits, complete, names, program)
    signs = audits.leading(seen, coverage, rate, program)
    rows = accounting.gather(tables)
    mix = reporting.gather(tables, complete, program)
    published_rates = reference.gather(tables, scope.facility_naics)
    posted = reconciliation.gather(tables)
    candidates = actions.gather(
        actions.Basis(rate, change, worked.ladder.lead, chart, doing, coverage, unit, rows, mix)
    )
    looks = numbers.count("comparisons/review", _looks(rate, change, worked, unit), "comparisons")
    published = numbers.published(
        rate,
        change,
        worked,
        chart,
        study,
        doing,
        lost,
        lags,
        hurt,
        seen,
        signs,
        coverage,
        lapses,
        purse,
        unit,
        apart,
        around,
        rows,
        mix,
        published_rates,
        posted,
        candidates,
        looks,
        stated.settings(program),
        stated.RULES,
    )
    moved = restated.gather(changed(published), names)
    return Review(
        scope=scope,
        program=program,
        rates=rate,
        before_after=change,
        answer=worked,
        watch=chart,
        chart_study=study,
        tasks=doing,
        severity=lost,
        late=lags,
        who=hurt,
        audits=seen,
        leading=signs,
        budget=purse,
        due=lapses,
        training=coverage,
        units=unit,
        spread=apart,
        funnel=around,
        accounting=rows,
        reporting=mix,
        reference=published_rates,
        reconciliation=posted,
        restated=moved,
        actions=candidates,
        diary=_diary(tables.events_diary, tables.quarters),
        looks=looks,
        numbers=(*published, *numbers.published(moved)),
    )


def _looks(
    rate: rates.RatesEvidence, change: before_after.BeforeAfter, worked: answer.Answer, unit: units.UnitsEvidence
) -> int:
    """How often two rates are set against each other: every ratio that is printed, each comparison once."""
    designs = [
        rung.ratio for ladder in worked.ladders for rung in ladder.rungs if rung.design != "before_after"
    ]  # before and after stands among the contrasts already
    other_ways = [
        row.rung.ratio for row in worked.sensitivity.rows if not (row.is_repeat or row.name.startswith("design_"))
    ]
    own_starts = [series.level for series in worked.series if series.unit]
    shown = [item.ratio for item in (*rate.comparisons, *change.contrasts)]
    counted = [ratio for ratio in (*designs, *other_ways, *own_starts, *shown) if ratio is not None]
    return len(counted) + _BOUNDS + len(unit.compared())


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
