"""Units side by side, in alphabetical order: counts, hours, and a rate where the cases allow one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.contrast import Estimate, direction_of
from handling_review.evidence.measure import Rate, measure
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.rates import as_date, four_to
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.tally import PersonTime, Tally
from handling_review.program import Program
from handling_review.stats import ratios


@dataclass(frozen=True)
class UnitRow:
    """One unit over the last four complete quarters (``recent``) and over all complete ones (``overall``).

    ``against_rest`` is the unit's rate over that of all other units together, all complete quarters (four
    hold too few cases to tell units apart), with an interval widened for the number of units looked at;
    ``None`` when the unit has too few cases for a rate. ``stands_out`` is lower, higher or "" (no sign of a
    real difference, or too few cases).
    """

    unit: str
    name: str
    care_type: str
    program_start: date | None
    is_comparison: bool
    recent: Rate
    overall: Rate
    against_rest: Estimate | None
    stands_out: str


@dataclass(frozen=True)
class UnitsEvidence:
    """All units, alphabetical by name, with the facility's own rates over the same two windows."""

    series: str
    recent_quarters: tuple[str, ...]
    overall_quarters: tuple[str, ...]
    rows: tuple[UnitRow, ...]
    facility_recent: Rate
    facility_overall: Rate
    units_compared: Number

    def compared(self) -> tuple[UnitRow, ...]:
        """Units with enough cases to be set against the others."""
        return tuple(row for row in self.rows if row.against_rest is not None)

    def standing_out(self) -> tuple[UnitRow, ...]:
        """Units whose widened interval leaves out 1."""
        return tuple(row for row in self.rows if row.stands_out)


def unit_names(tables: ResultTables) -> dict[str, str]:
    """Unit code to name (the code itself where no name is given), every unit with hours or cases."""
    codes = [str(unit) for unit in tables.person_time["unit"].unique()]
    codes += [str(unit) for unit in tables.unit_quarters["unit"].unique()]
    named = zip(tables.units["unit"].tolist(), tables.units["name"].tolist(), strict=True)
    given = {str(code): "" if pd.isna(name) else str(name) for code, name in named}
    return {code: given.get(code) or code for code in sorted({*codes, *given})}


def gather(tables: ResultTables, complete: tuple[str, ...], program: Program) -> UnitsEvidence:
    """Units over the last four of the ``complete`` quarters and over all of them."""
    series = program.analysis.series
    recent, overall = complete[-4:], complete
    table = PersonTime(tables.person_time)
    by_recent = _of_series(table.within(recent).by("unit"), series)
    by_overall = _of_series(table.within(overall).by("unit"), series)
    names = unit_names(tables)
    known = {str(record["unit"]): record for record in tables.units.to_dict("records")}
    compared = [
        unit
        for unit in names
        if by_overall.get(unit, Tally()).hours > 0 and by_overall[unit].events >= program.thresholds.unreliable_below
    ]
    whole_recent, whole = sum(by_recent.values(), Tally()), sum(by_overall.values(), Tally())
    rows = []
    for unit, name in sorted(names.items(), key=lambda item: (item[1].casefold(), item[0])):
        record = known.get(unit, {})
        own = by_overall.get(unit, Tally())
        against = None
        if unit in compared:
            against = _against_rest(unit, own, whole - own, len(compared), series, program)
        direction = "cannot_tell"
        if against is not None:
            direction = direction_of(_limit(against.lower.value), _limit(against.upper.value))
        start = record.get("program_start")
        rows.append(
            UnitRow(
                unit=unit,
                name=name,
                care_type=_text(record.get("care_type")),
                program_start=None if start is None or pd.isna(start) else as_date(start),
                is_comparison=bool(record.get("comparison", False)),
                recent=_rate(unit, "four-quarters", by_recent.get(unit, Tally()), series, program),
                overall=_rate(unit, "all-quarters", own, series, program),
                against_rest=against,
                stands_out="" if direction == "cannot_tell" else direction,
            )
        )
    in_a_row = bool(recent) and recent == four_to(recent[-1])
    place = f"facility/four-quarters-to-{recent[-1]}" if in_a_row else "facility/last-complete-quarters"
    return UnitsEvidence(
        series=series,
        recent_quarters=recent,
        overall_quarters=overall,
        rows=tuple(rows),
        facility_recent=measure(place, series, whole_recent, program),
        facility_overall=measure("facility/all-quarters", series, whole, program),
        units_compared=numbers.count("units_compared/facility", len(compared), "units"),
    )


def _of_series(tallies: Mapping[tuple[object, ...], Tally], series: str) -> dict[str, Tally]:
    return {str(key[0]): tally for key, tally in tallies.items() if key[1] == series}


def _rate(unit: str, window: str, tally: Tally, series: str, program: Program) -> Rate:
    return measure(f"unit:{key_part(unit)}/{window}", series, tally, program, hide_few=True)


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _limit(value: float | None) -> float:
    return float("nan") if value is None else value


def _against_rest(unit: str, own: Tally, rest: Tally, looks: int, series: str, program: Program) -> Estimate | None:
    """The unit against all other units together, its interval widened for ``looks`` comparisons.

    The error rate is shared out evenly over the comparisons (Bonferroni), so that with no real difference
    anywhere the chance of pointing at any unit stays at the level of a single comparison.
    """
    if rest.hours <= 0:
        return None
    level = 1 - (1 - program.analysis.confidence) / looks
    found = ratios.rate_ratio(own.events, own.hours, rest.events, rest.hours, confidence=level)
    end = f"unit:{key_part(unit)}/against_rest/{series}"
    return Estimate(
        numbers.ratio(f"ratio/{end}", float(found.estimate)),
        numbers.ratio(f"ratio_lower/{end}", float(found.lower)),
        numbers.ratio(f"ratio_upper/{end}", float(found.upper)),
    )
