"""The two sides of a design: which cases and hours stand with and without the program, as conditions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from handling_review.trace.scope import START, TRAINING, WINDOW, Scope
from handling_review.trace.selection import one_of

if TYPE_CHECKING:
    import pandas as pd

    from handling_review.trace.tracer import Tracer

BEFORE_AFTER, CONTROL, COMPARISON = "before_after", "negative_control", "comparison"
INTERRUPTED, ADJUSTED, WITHIN, STAGGERED = "interrupted", "adjusted", "within_quarter", "staggered"
LADDER = (BEFORE_AFTER, CONTROL, COMPARISON, INTERRUPTED, ADJUSTED, WITHIN, STAGGERED)
METHOD_OF = {
    BEFORE_AFTER: "mid_p",
    CONTROL: "ratio_of_ratios",
    COMPARISON: "difference_in_differences",
    INTERRUPTED: "interrupted",
    ADJUSTED: "adjusted",
    WITHIN: "mantel_haenszel",
    STAGGERED: "staggered",
}
DESIGN_WORDS = {
    BEFORE_AFTER: "after against before training, whole facility",
    CONTROL: "after against before training, set against injuries that do not come from handling",
    COMPARISON: "units with the program against comparison units",
    INTERRUPTED: "the step at the start against the line of the quarters before it",
    ADJUSTED: "started against not started, allowing for the unit and a steady yearly change",
    WITHIN: "trained against not yet trained, within unit and quarter",
    STAGGERED: "units that had started against units that had not, quarter by quarter",
}
VARIANT_WORDS = {
    "unit_start": "by the unit's start, everybody's hours",
    "training_current": "only training that has not lapsed",
    "recordable": "all recordable injuries",
    "dart": "DART injuries only",
    "without_agency": "without agency staff",
    "without_remedial": "without training that followed an own injury",
    "first_event": "only the first handling injury of each person",
    "without_respiratory": "without respiratory illness",
    "without_2020_22": "without the years 2020 to 2022",
    "negative_binomial": "negative binomial errors",
}
_FIRST = (
    "(file_no, record) IN (SELECT file_no, record FROM int_cases QUALIFY employee_id IS NULL OR row_number() OVER "
    "(PARTITION BY employee_id, is_recordable AND coalesce(is_handling, FALSE) "
    "ORDER BY event_date, case_number, file_no, record) = 1)"
)
_PANDEMIC = (
    "quarter NOT IN (SELECT quarter FROM quarters WHERE quarter_start <= DATE '2022-12-31' "
    "AND quarter_end >= DATE '2020-01-01')"
)


class Asked:
    """One design asked of one series in one way: what stands on either side."""

    def __init__(self, tracer: Tracer, variant: str, series: str) -> None:
        self._tracer, self.variant = tracer, variant
        self.design = self._design(variant)
        self.series = series
        self._cases: tuple[str, ...] = ()
        self._hours: tuple[str, ...] = ()
        self._where: tuple[str, ...] = ()
        if variant in ("recordable", "dart"):
            self.series = variant
        elif variant == "first_event":
            self.series, self._cases = "handling", (_FIRST,)
        elif variant == "without_respiratory":
            self.series, self._cases = "handling", ("case_type <> 'respiratory'",)
        elif variant == "without_agency":
            self._cases = ("employee_id IS NOT NULL",)
            self._hours = ("source <> 'agency'", "employee_id IS NOT NULL")
        elif variant == "without_remedial":
            self._where = ("NOT is_remedial",)
        elif variant == "training_current":
            self._where = ("NOT lapsed",)
        elif variant == "without_2020_22":
            self._where = (_PANDEMIC,)

    def _design(self, variant: str) -> str:
        if variant in LADDER:
            return variant
        if variant.startswith(("washout_", "per_")) or variant in ("unit_start", "training_current"):
            return BEFORE_AFTER
        lead = next(
            (row["design"] for row in self._tracer.output.table("designs") if row["is_main"] == "True"), BEFORE_AFTER
        )
        if variant == "negative_binomial" and lead not in (STAGGERED, ADJUSTED):
            return ADJUSTED
        return lead

    @property
    def exposure(self) -> str:
        """What the cases are counted per where it is not hours: patient_days, transfers."""
        return self.variant.removeprefix("per_") if self.variant.startswith("per_") else ""

    def words(self) -> str:
        """The design, and what is changed in it."""
        changed = VARIANT_WORDS.get(self.variant, "")
        if self.variant.startswith("washout_"):
            changed = f"washout of {self.variant.removeprefix('washout_')} days after training"
        if self.exposure:
            changed = f"per {self.exposure.removesuffix('s').replace('_', ' ')}, by the unit's start"
        words = DESIGN_WORDS[self.design]
        if self.variant == "unit_start" or self.exposure:
            words = "after against before the unit's start"
        return f"{words} ({changed})" if changed else words

    def side(self, is_with: bool) -> Scope:
        """The hours and cases with, or without, the program."""
        conditions, words = self._conditions(is_with)
        whole = self._tracer.places.whole()
        rules = (WINDOW, TRAINING if self.design in (BEFORE_AFTER, CONTROL, WITHIN) else START)
        return replace(
            whole,
            words=f"{whole.words}, {words}",
            where=(*whole.where, *self._where, *conditions),
            cases=self._cases,
            hours=self._hours,
            rules=rules,
        )

    def others(self, is_with: bool) -> str:
        """Query: injuries that do not come from handling, on the hours of one side."""
        scope = self.side(is_with)
        if self.variant in ("first_event", "without_respiratory"):
            scope = replace(scope, cases=())  # these narrow the cases asked about, not the others
        return scope.of_cases("non_handling").amount_query()

    def _conditions(self, is_with: bool) -> tuple[tuple[str, ...], str]:
        side = "after" if is_with else "before"
        if self.variant == "unit_start" or self.exposure:
            own: tuple[str, ...] = (f"go_live_phase = '{side}'",)
            if self.exposure:
                own += (
                    f"(unit, quarter, go_live_phase) IN (SELECT unit, quarter, go_live_phase FROM out_exposure "
                    f"WHERE measure = '{self.exposure}')",
                )
            return own, f"{side} the unit's start"
        if self.variant.startswith("washout_") and is_with:
            from handling_review.evidence.strata_table import BAND_FROM

            days = int(self.variant.removeprefix("washout_"))
            kept = [band for band, first in BAND_FROM.items() if first >= max(days, 1)]
            return (one_of("band", kept),), f"from {max(days, 1)} days after the first completion on"
        if self.design in (BEFORE_AFTER, CONTROL):
            return (f"phase = '{side}'",), f"{side} training"
        if self.design == WITHIN:
            kept_hours = " AND ".join(("phase IN ('before', 'after')", *self._where, *self._hours))
            both = (
                f"(unit, quarter) IN (SELECT unit, quarter FROM int_person_time WHERE {kept_hours} GROUP BY unit, "
                "quarter "
                "HAVING sum(hours_e8) FILTER (phase = 'after') > 0 AND sum(hours_e8) FILTER (phase = 'before') > 0)"
            )
            return (f"phase = '{side}'", both), f"{side} training, in units and quarters that have hours of both kinds"
        return self._by_unit(is_with)

    def _by_unit(self, is_with: bool) -> tuple[tuple[str, ...], str]:
        """Sides that follow from each unit's start."""
        cells = self._tracer.cells(self.series, self._where)
        if self.design == COMPARISON:
            quarters = cells.after_roll_out() if is_with else cells.before_roll_out()
            words = f"units with the program, {'after the last' if is_with else 'before the first'} start"
            return (one_of("unit", cells.program_units), one_of("quarter", quarters)), words
        if self.design == INTERRUPTED:
            before, after = cells.around_start()
            words = f"units with the program, {'from' if is_with else 'before'} the quarter in which half had begun"
            return (one_of("unit", cells.program_units), one_of("quarter", after if is_with else before)), words
        words = "units that had started" if is_with else "units that had not started (comparison units too)"
        return (cells.of_state(1 if is_with else 0),), words


class Cells:
    """Units and quarters by the unit's own start, as the designs take them."""

    def __init__(self, tracer: Tracer, series: str, where: tuple[str, ...] = ()) -> None:
        strata = tracer.strata
        frame = strata.frame
        if _PANDEMIC in where:
            touched = [q for q, (a, b) in strata.spans.items() if str(a) <= "2022-12-31" and str(b) >= "2020-01-01"]
            frame = frame[~frame["quarter"].isin(touched)]
        self._strata = strata
        self.program_units = tuple(unit for unit in strata.units if unit not in strata.comparison)
        self._rows = frame.assign(state=strata._states(frame))
        self._panel = strata.panel(series, frame)
        self._known: dict[tuple[object, ...], str] = {}

    def of_state(self, state: int, units: Sequence[str] | None = None, places: Sequence[int] | None = None) -> str:
        """SQL: a unit's quarters in one state (0 not started, 1 started), split at go-live where it must be."""
        asked = (state, None if units is None else tuple(units), None if places is None else tuple(places))
        if asked not in self._known:
            self._known[asked] = self._of_state(state, units, places)
        return self._known[asked]

    def _of_state(self, state: int, units: Sequence[str] | None, places: Sequence[int] | None) -> str:
        kept: dict[str, list[str]] = {}
        split: list[str] = []
        for (unit, quarter), rows in self._rows.groupby(["unit", "quarter"], sort=True):
            if (units is not None and unit not in units) or (
                places is not None and rows["place"].iloc[0] not in places
            ):
                continue
            inside = rows["state"] == state
            if not inside.any() or not float(rows.loc[inside, "hours"].sum()) > 0:
                continue
            if inside.all():
                kept.setdefault(str(unit), []).append(str(quarter))
            else:
                sides = sorted(set(rows.loc[inside, "go_live_phase"].astype(str)))
                split.append(
                    f"{one_of('unit', [str(unit)])} AND {one_of('quarter', [str(quarter)])} "
                    f"AND {one_of('go_live_phase', sides)}"
                )
        parts = [f"{one_of('unit', [unit])} AND {one_of('quarter', quarters)}" for unit, quarters in kept.items()]
        found = [f"({part})" for part in (*parts, *split)]
        return "\n        OR ".join(found) if found else "FALSE"

    def before_roll_out(self) -> tuple[str, ...]:
        """Quarters before the first unit starts."""
        begun = self._program()[self._program()["state"] != 0]
        first = int(begun["place"].min()) if len(begun) else len(self._strata.quarters)
        return self._strata.quarters[:first]

    def after_roll_out(self) -> tuple[str, ...]:
        """Quarters after the last unit has wholly started."""
        waiting = self._program()[self._program()["state"] != 1]
        last = int(waiting["place"].max()) if len(waiting) else -1
        return self._strata.quarters[last + 1 :]

    def around_start(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Quarters before and from the one in which half of the hours are in units that have begun."""
        from handling_review.evidence.designs_by_unit import series_of

        start = series_of(self._panel, ~self._panel.is_comparison)[2]
        return self._strata.quarters[:start], self._strata.quarters[start:]

    def _program(self) -> pd.DataFrame:
        return self._rows[self._rows["unit"].isin(self.program_units)]
