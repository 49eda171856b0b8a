"""What people were doing when they were hurt, and injuries per transfer."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from handling_review.trace.family import Builder, Built, Family, Groups, Rows
from handling_review.trace.scope import COMPLETE, Scope
from handling_review.trace.selection import Selection, one_of, quoted

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer

_TASK = "(is_recordable OR outcome = 'first_aid')"
_KNOWN = {
    "technique": ("in_band", "outside_band", "no_band"),
    "load": ("over_limit", "within_limit"),
    "suited_equipment": ("in_use", "on_unit_not_in_use", "not_on_unit"),
}
_TASK_COLUMN = {
    "technique": "technique against the usual band",
    "load": "load on hands",
    "suited_equipment": "equipment that suits the activity",
}


def _equipment(group: str) -> str:
    from handling_review.evidence.tasks import EQUIPMENT_GROUPS

    return one_of("equipment_in_use", EQUIPMENT_GROUPS[group])


def _activity_words(code: str) -> str:
    from handling_review.page.labels import ACTIVITY

    return ACTIVITY.get(code, code.replace("_", " "))


def _task(kind: str) -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        where, words = [_TASK], "handling injuries, first aid included"
        if "activity" in parts:
            where.append(f"activity = {quoted(parts['activity'])}")
            words += f", {_activity_words(parts['activity'])}"
        if kind == "recordable":
            where[0], words = "is_recordable", words.replace(", first aid included", " that are recordable")
        elif kind == "first_aid":
            where[0], words = "outcome = 'first_aid'", words.replace("first aid included", "first aid alone")
        elif kind == "equipment":
            where.append(_equipment(parts["group"]))
            words += f", equipment in use: {parts['group'].replace('_', ' ')}"
        elif kind == "ramps":
            where.append("activity = 'wheelchair_ramp_or_curb'")
            words += ", wheelchair on a ramp or curb"
        elif kind == "value":
            where.append(f"{parts['column']} = {quoted(parts['value'])}")
            words += f", {_TASK_COLUMN[parts['column']]}: {parts['value'].replace('_', ' ')}"
        elif kind == "known":
            where.append(one_of(parts["column"], _KNOWN[parts["column"]]))
            words += f", {_TASK_COLUMN[parts['column']]} known"
        whole = tracer.places.whole()
        return (
            Selection(
                title=f"{words}, {whole.words}",
                file="incidents",
                table="int_case_details",
                where=(*where, *whole.where),
                unit="cases",
            ),
        )

    return rows


def _task_words(kind: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        title = _task(kind)(tracer, parts)[0].title
        return Built(words=f"Count of {title}", rules=("complete quarters", "tasks"))

    return build


def _task_share(tracer: Tracer, parts: Groups) -> Built:
    every = f"SQL SELECT count(*) FROM int_case_details WHERE is_recordable AND {COMPLETE}"
    inputs = {"own": f"task_cases/activity:{parts['activity']}/recordable", "all_recordable": every}
    return Built(
        tracer.formula("own / all_recordable", inputs),
        words=f"Share of the recordable handling injuries: {_activity_words(parts['activity'])}",
        rules=("complete quarters",),
    )


_COUNTING = (
    "(unit, quarter) IN (SELECT unit, quarter FROM out_exposure WHERE measure = 'transfers' GROUP BY unit, quarter "
    "HAVING sum(quantity) > 0)"
)


def _transfer_scope(tracer: Tracer) -> Scope:
    whole = tracer.places.whole()
    return replace(whole, words="units and quarters that count transfers", where=(*whole.where, _COUNTING))


def _transfers(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    whole = tracer.places.whole()
    return (
        Selection(
            title=f"transfers, {whole.words}",
            file="exposure",
            table="int_exposure_parts",
            where=("measure = 'transfers'", *whole.where, _COUNTING),
            amount="sum(part_e4) / 1e4",
            unit="transfers",
            lines="ranges",
            splits=True,
        ),
    )


_PER = {"cases": "cases/transfers/{names}", "transfers": "quantity/transfers/{names}"}

FAMILIES = (
    Family("task_cases/facility", "", rows=_task("all"), build=_task_words("all")),
    Family("task_cases/facility/wheelchair_on_ramps_and_curbs", "", rows=_task("ramps"), build=_task_words("ramps")),
    Family("task_cases/activity:{activity}", "", rows=_task("all"), build=_task_words("all")),
    Family("task_cases/activity:{activity}/recordable", "", rows=_task("recordable"), build=_task_words("recordable")),
    Family("task_cases/activity:{activity}/first_aid", "", rows=_task("first_aid"), build=_task_words("first_aid")),
    Family("task_cases/activity:{activity}/equipment:{group}", "", rows=_task("equipment"),
           build=_task_words("equipment")),
    Family("task_cases/{column}:{value}", "", rows=_task("value"), build=_task_words("value")),
    Family("task_cases/{column}", "", rows=_task("known"), build=_task_words("known")),
    Family("task_share/activity:{activity}", "", build=_task_share),
    Family("units_that_count/transfers/{names}", "Units that count transfers", "units",
           {"units": f"SQL SELECT count(DISTINCT unit) FROM out_exposure WHERE {_COUNTING} AND {COMPLETE}"},
           rows=_transfers),
    Family("quantity/transfers/{names}", "Transfers on the units and quarters that count them", rows=_transfers),
    Family("cases/transfers/{names}", "Recordable handling injuries on the units and quarters that count transfers",
           rows=lambda t, p: (_transfer_scope(t).of_cases("handling"),)),
    Family("rate/transfers/{names}", "Recordable handling injuries per 10,000 transfers", "cases * 10000 / "
                                                                                          "transfers", _PER),
    Family("rate_lower/transfers/{names}", "Lower limit of the handling injuries per 10,000 transfers",
           "GAMMA_INV((1 - confidence) / 2, cases) * 10000 / transfers", {**_PER, "confidence": "@analysis.confidence"},
           method="exact"),
    Family("rate_upper/transfers/{names}", "Upper limit of the handling injuries per 10,000 transfers",
           "GAMMA_INV(1 - (1 - confidence) / 2, cases + 1) * 10000 / transfers",
           {**_PER, "confidence": "@analysis.confidence"}, method="exact"),
)  # fmt: skip
