"""Signal or noise: control charts of the facility and of each unit, and an early warning of a doubling by month."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.control import (
    ALL,
    ALL_BUT_LATEST,
    BEFORE_START,
    FEWEST_BASELINE,
    FEWEST_CASES,
    LATEST,
    STATED,
    Chart,
    Quarter,
    chart,
)
from handling_review.evidence.early_warning import (
    QUIET_MONTHS,
    EarlyWarning,
    reference_quarters,
    warning,
)
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.panel import Array
from handling_review.evidence.rates import RatesEvidence, Span, UnitQuarter
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tables import ResultTables
from handling_review.program import Program
from handling_review.stats import charts, shrinkage

SIMULATED, SEED = 1000, 1904  # series with nothing changing, drawn to see how often the chart speaks for nothing
_SETTLED = 4  # the latest quarters, left out of a centre line that no start can freeze


@dataclass(frozen=True)
class FalseSignals:
    """How often a chart of these quarters speaks with nothing changing: share of charts, and quarters to a signal."""

    share: Number
    quarters_per_signal: Number | None


@dataclass(frozen=True)
class Watch:
    """Charts and early warnings of the primary series: the facility's, and each unit's in alphabetical order."""

    series: str
    facility: Chart
    units: tuple[Chart, ...]
    warning: EarlyWarning
    unit_warnings: tuple[EarlyWarning, ...]
    units_watched: Number
    false_signals: FalseSignals | None

    def units_now(self, direction: str) -> tuple[str, ...]:
        """Units whose chart has a signal of more, or of fewer, injuries in the latest quarters."""
        return tuple(unit.name for unit in self.units if any(s.direction == direction for s in unit.now()))

    def units_warned(self) -> tuple[str, ...]:
        """Units whose early warning speaks in the months of the latest quarters."""
        return tuple(unit.name for unit in self.unit_warnings if unit.now)

    def stands_out(self) -> bool:
        """Whether the facility's chart or any early warning speaks in the latest quarters.

        Signals of single units' charts are left out: with many units some chart always speaks for nothing.
        """
        return bool(self.facility.now()) or bool(self.warning.now) or bool(self.units_warned())


def gather(
    tables: ResultTables, rate: RatesEvidence, strata: Strata, names: Mapping[str, str], program: Program
) -> Watch:
    """Charts and warnings over the complete quarters."""
    series = program.analysis.series
    spans = tuple(span for span in rate.quarters if span.is_complete)
    starts = {unit: strata.quarters[at] for unit, at in strata.starts.items() if at > 0}
    first = min(starts.values(), default=None)
    waits = tables.waits[tables.waits["series"] == series]
    ordered = sorted(names.items(), key=lambda item: (item[1].casefold(), item[0]))
    own = _unit_quarters(rate, series)
    whole = chart(
        "facility",
        "Whole facility",
        series,
        *_quarters(
            [(span.quarter, int(span.of(series).events.value or 0), float(span.of(series).hours.value or 0))
             for span in spans],
            spans, first, program,
        ),
        waits[waits["unit"] == ""],
    )  # fmt: skip
    units = tuple(
        chart(
            f"unit:{key_part(unit)}",
            name,
            series,
            *_quarters(own.get(unit, ()), spans, starts.get(unit), program),
            waits[waits["unit"] == unit],
        )
        for unit, name in ordered
    )
    warned = _Warnings(tables, tuple(span.quarter for span in spans), series)
    warnings = warned.units(ordered, starts)
    return Watch(
        series=series,
        facility=whole,
        units=units,
        warning=warned.facility(max(starts.values(), default=None)),
        unit_warnings=warnings,
        units_watched=numbers.count(
            "units_watched/facility", sum(item.quiet_months is not None for item in warnings), "units"
        ),
        false_signals=_false_signals(whole, spans, series),
    )


def _unit_quarters(rate: RatesEvidence, series: str) -> dict[str, list[tuple[str, int, float]]]:
    found: dict[str, list[tuple[str, int, float]]] = {}
    cells: Sequence[UnitQuarter] = rate.unit_quarters
    for cell in cells:
        own = {one.series: one for one in cell.rates}[series]
        if cell.is_complete:
            found.setdefault(cell.unit, []).append(
                (cell.quarter, int(own.events.value or 0), float(own.hours.value or 0))
            )
    return found


def _quarters(
    cells: Sequence[tuple[str, int, float]], spans: Sequence[Span], start: str | None, program: Program
) -> tuple[list[Quarter], str]:
    """The quarters of one place with those that make its centre line, and the rule by which they do.

    The centre line is frozen before the start. Where no start leaves four quarters before it, the latest year is left
    out, so that what is new is set against what was; with too few quarters for that, all make the line. Days stated in
    the program file come first.
    """
    known = {span.quarter: span for span in spans}
    kept = [cell for cell in cells if cell[0] in known]
    stated = [_is_stated(known[cell[0]], program) for cell in kept]
    before = [start is not None and cell[0] < start for cell in kept]
    settled = [i < len(kept) - _SETTLED for i in range(len(kept))]
    asked = ((stated, STATED), (before, BEFORE_START), (settled, ALL_BUT_LATEST))
    enough = [(flags, name) for flags, name in asked if sum(flags) >= FEWEST_BASELINE]
    flags, rule = enough[0] if enough else ([True] * len(kept), ALL)
    return [
        Quarter(label, events, hours, known[label].is_provisional, flag)
        for (label, events, hours), flag in zip(kept, flags, strict=True)
    ], rule


def _is_stated(span: Span, program: Program) -> bool:
    asked = program.charts
    if asked.baseline_from is None and asked.baseline_through is None:
        return False
    return (asked.baseline_from or date.min) <= span.start and span.end <= (asked.baseline_through or date.max)


class _Warnings:
    """The early warnings of one review, from the cases and hours by month of the complete quarters."""

    def __init__(self, tables: ResultTables, complete: tuple[str, ...], series: str) -> None:
        rows = tables.months[tables.months["quarter"].isin(list(complete))]
        self._rows = rows.sort_values(["unit", "month"])
        self._complete, self._series = complete, series
        self._latest = complete[-LATEST:]

    def _months(self, rows: pd.DataFrame) -> list[tuple[str, str, int, float]]:
        return [
            (str(month), str(quarter), int(cases), float(hours))
            for month, quarter, cases, hours in zip(
                rows["month"], rows["quarter"], rows[self._series], rows["hours"], strict=True
            )
        ]

    def _sums(self, rows: pd.DataFrame, reference: tuple[str, ...]) -> tuple[float, float]:
        inside = rows[rows["quarter"].isin(list(reference))]
        return float(inside[self._series].sum()), float(inside["hours"].sum())

    def facility(self, last_start: str | None) -> EarlyWarning:
        """The warning for all units together; the usual rate needs five cases."""
        reference = reference_quarters(self._complete, LATEST, last_start)
        whole = self._rows.groupby(["month", "quarter"], as_index=False, sort=True)[["hours", self._series]].sum()
        cases, hours = self._sums(whole, reference)
        if cases < FEWEST_CASES:
            reason = f"fewer than {FEWEST_CASES} cases in the quarters that say what is usual"
            return EarlyWarning("facility", "Whole facility", reason=reason)
        return warning(
            "facility", "Whole facility", self._series, self._months(whole), reference, self._latest,
            cases / hours * 200_000, QUIET_MONTHS,
        )  # fmt: skip

    def units(self, ordered: Sequence[tuple[str, str]], starts: Mapping[str, str]) -> tuple[EarlyWarning, ...]:
        """One warning a unit, its usual rate drawn towards that of all units, since a few cases say little."""
        rows = {unit: self._rows[self._rows["unit"] == unit] for unit, _ in ordered}
        references = {
            unit: tuple(
                quarter
                for quarter in reference_quarters(self._complete, LATEST, starts.get(unit))
                if quarter in set(rows[unit]["quarter"])
            )
            for unit, _ in ordered
        }
        sums = {unit: self._sums(rows[unit], references[unit]) for unit, _ in ordered}
        counted = [unit for unit, _ in ordered if sums[unit][1] > 0]
        usual = dict(zip(counted, self._usual([sums[unit] for unit in counted]), strict=True))
        return tuple(
            warning(
                f"unit:{key_part(unit)}", name, self._series, self._months(rows[unit]), references[unit],
                self._latest, usual.get(unit, 0.0), QUIET_MONTHS * max(len(counted), 1),
            )
            for unit, name in ordered
        )  # fmt: skip

    def _usual(self, sums: Sequence[tuple[float, float]]) -> Array:
        events, hours = np.array([s[0] for s in sums]), np.array([s[1] for s in sums])
        if len(sums) < 2 or not events.sum():
            return np.array([e / h * 200_000 for e, h in sums])
        return shrinkage.gamma_poisson(events, hours).mean


def _false_signals(found: Chart, spans: Sequence[Span], series: str) -> FalseSignals | None:
    """Series drawn from one steady rate, the centre drawn too: how often any of the three rules speaks.

    Only quarters outside the baseline count, unless all quarters make it: that is where a signal is looked for.
    """
    if not found.points or found.centre is None or found.centre.value is None:
        return None
    by_label = {span.quarter: float(span.of(series).hours.value or 0) for span in spans}
    hours = np.array([by_label[point.quarter] for point in found.points])
    baseline = np.array([point.in_baseline for point in found.points])
    watched = ~baseline if not baseline.all() else baseline
    dice = np.random.default_rng(SEED)
    drawn = dice.poisson(found.centre.value * hours / 200_000, (SIMULATED, hours.size)).astype(float)
    spoke, onsets = 0, 0
    known: dict[float, charts.ULimits] = {}  # exact limits follow from the baseline's total alone
    for events in drawn:
        total = float(events[baseline].sum())
        if not total:
            continue
        limits = known.get(total) or charts.u_limits(events, hours, baseline, found.kind)
        if found.kind == "poisson":
            known[total] = limits
        rate = events / (np.where(hours > 0, hours, np.nan) / 200_000)
        flags = charts.signals(rate, limits.centre_per_200k, limits.lower, limits.upper)
        seen = (flags.outside | flags.run | flags.trend) & watched
        spoke += bool(seen.any())
        onsets += int(seen[0]) + int((seen[1:] & ~seen[:-1]).sum())
    place = f"facility/chart/{series}"
    per_signal = SIMULATED * int(watched.sum()) / onsets if onsets else None
    return FalseSignals(
        share=numbers.share(f"chart_false_signals/{place}", spoke / SIMULATED),
        quarters_per_signal=None
        if per_signal is None
        else numbers.count(f"chart_quarters_per_signal/{place}", round(per_signal), "quarters"),
    )
