"""What people were doing when they were hurt: activities, equipment in use, technique and the load on hands."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.contrast import Estimate
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.tables import ResultTables
from handling_review.program import Program
from handling_review.stats import rates

EQUIPMENT_GROUPS: dict[str, tuple[str, ...]] = {
    "lift": ("sit_to_stand_lift", "floor_lift", "ceiling_lift"),
    "sliding": ("sliding_board", "friction_reducing_sheet", "air_assisted_mat"),
    "gait_belt": ("gait_belt",),
    "none": ("none",),
    "other": ("other",),
    "not_given": ("not_given",),
}
PER_TRANSFERS = 10_000  # transfers; a rate per single transfer would have too many noughts
TECHNIQUES = ("in_band", "outside_band", "no_band", "not_known")
LOADS = ("over_limit", "within_limit", "not_known")
SUITED = ("in_use", "on_unit_not_in_use", "not_on_unit", "unit_not_listed", "not_known")


@dataclass(frozen=True)
class ActivityRow:
    """Handling injuries of one activity: recordable and first aid apart, and both by the equipment in use."""

    activity: str
    recordable: Number
    first_aid: Number
    cases: Number
    share: Number
    by_equipment: tuple[Number, ...]


@dataclass(frozen=True)
class TransferRate:
    """Recordable handling injuries per 10,000 transfers on the units and quarters that count transfers."""

    units: Number
    transfers: Number
    cases: Number
    rate: Estimate


@dataclass(frozen=True)
class TasksEvidence:
    """Handling injuries, first aid included, over the complete quarters, or the ``reason`` why there is nothing.

    ``by_technique``, ``by_load`` and ``by_suited`` count cases by TECHNIQUES, LOADS and SUITED; what does not concern a
    case (an activity that is no technique, a load not borne by hands) is not among them. The three ``with_*`` are the
    cases of which the answer is known.
    """

    first: str
    last: str
    activities: tuple[ActivityRow, ...]
    total: Number
    by_technique: tuple[Number, ...]
    by_load: tuple[Number, ...]
    by_suited: tuple[Number, ...]
    with_technique: Number
    with_load: Number
    with_suited: Number
    ramps: Number
    per_transfers: TransferRate | None
    reason: str

    def of(self, kind: str, value: str) -> Number:
        """One count: kind technique, load or suited; ``KeyError`` if there is no such value."""
        names, counts = {
            "technique": (TECHNIQUES, self.by_technique),
            "load": (LOADS, self.by_load),
            "suited": (SUITED, self.by_suited),
        }[kind]
        return dict(zip(names, counts, strict=True))[value]


def gather(tables: ResultTables, complete: tuple[str, ...], program: Program) -> TasksEvidence:
    """Counts over the complete quarters; activities with the most cases first."""
    rows = tables.tasks[tables.tasks["quarter"].isin(list(complete))]
    rows = rows.assign(cases=rows["recordable"] + rows["first_aid"])
    whole = int(rows["cases"].sum())
    activities = sorted(
        (_activity(str(name), part, int(rows["recordable"].sum())) for name, part in rows.groupby("activity")),
        key=lambda row: (row.activity == "unknown", -(row.cases.value or 0), row.activity),
    )
    return TasksEvidence(
        first=complete[0] if complete else "",
        last=complete[-1] if complete else "",
        activities=tuple(row for row in activities if row.cases.value),
        total=numbers.count("task_cases/facility", whole),
        by_technique=_counts(rows, "technique", TECHNIQUES),
        by_load=_counts(rows, "load", LOADS),
        by_suited=_counts(rows, "suited_equipment", SUITED),
        with_technique=_known(rows, "technique", TECHNIQUES[:3]),
        with_load=_known(rows, "load", LOADS[:2]),
        with_suited=_known(rows, "suited_equipment", SUITED[:3]),
        ramps=numbers.count(
            "task_cases/facility/wheelchair_on_ramps_and_curbs",
            int(rows.loc[rows["activity"] == "wheelchair_ramp_or_curb", "cases"].sum()),
        ),
        per_transfers=_per_transfers(tables, complete, program),
        reason="" if whole else "no handling injury in the complete quarters",
    )


def _activity(name: str, rows: pd.DataFrame, recordable: int) -> ActivityRow:
    end = f"activity:{name}"
    own = int(rows["recordable"].sum())
    return ActivityRow(
        activity=name,
        recordable=numbers.count(f"task_cases/{end}/recordable", own),
        first_aid=numbers.count(f"task_cases/{end}/first_aid", int(rows["first_aid"].sum())),
        cases=numbers.count(f"task_cases/{end}", int(rows["cases"].sum())),
        share=numbers.share(f"task_share/{end}", own / recordable if recordable else float("nan")),
        by_equipment=tuple(
            numbers.count(
                f"task_cases/{end}/equipment:{group}",
                int(rows.loc[rows["equipment_in_use"].isin(list(members)), "cases"].sum()),
            )
            for group, members in EQUIPMENT_GROUPS.items()
        ),
    )


def _counts(rows: pd.DataFrame, column: str, values: tuple[str, ...]) -> tuple[Number, ...]:
    found = rows.groupby(column)["cases"].sum().to_dict()
    return tuple(numbers.count(f"task_cases/{column}:{value}", int(found.get(value, 0))) for value in values)


def _known(rows: pd.DataFrame, column: str, values: tuple[str, ...]) -> Number:
    return numbers.count(f"task_cases/{column}", int(rows.loc[rows[column].isin(list(values)), "cases"].sum()))


def _per_transfers(tables: ResultTables, complete: tuple[str, ...], program: Program) -> TransferRate | None:
    """Injuries over transfers of the same units and quarters; ``None`` where no unit counts transfers."""
    given = tables.exposure
    given = given[(given["measure"] == "transfers") & given["quarter"].isin(list(complete))]
    counted = given.groupby(["unit", "quarter"], as_index=False)["quantity"].sum()
    counted = counted[counted["quantity"] > 0]
    if counted.empty:
        return None
    own = tables.strata.groupby(["unit", "quarter"], as_index=False)["handling"].sum()
    cases = int(counted.merge(own, on=["unit", "quarter"], how="left")["handling"].fillna(0).sum())
    transfers = float(counted["quantity"].sum())
    names = sorted(str(unit) for unit in counted["unit"].unique())
    end = f"transfers/{key_part('+'.join(names))}"
    limits = rates.count_interval(cases, confidence=program.analysis.confidence)
    unit = f"cases per {PER_TRANSFERS:,} transfers"

    def per(name: str, value: float) -> Number:
        return numbers.decimal(f"{name}/{end}", value * PER_TRANSFERS / transfers, unit)

    return TransferRate(
        units=numbers.count(f"units_that_count/{end}", len(names), "units"),
        transfers=numbers.quantity(f"quantity/{end}", transfers, "transfers"),
        cases=numbers.count(f"cases/{end}", cases),
        rate=Estimate(per("rate", cases), per("rate_lower", limits.lower), per("rate_upper", limits.upper)),
    )
