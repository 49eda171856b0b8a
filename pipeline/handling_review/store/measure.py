"""Person-time and result tables: the SQL files in their order."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import pandas as pd

from handling_review.program import Program
from handling_review.store.database import Store
from handling_review.store.engine import DuckDBEngine, Engine
from handling_review.store.settle import ReviewDays, fill_lookups, fill_settings, review_days

CROWDED = "work_crowded_spans"
MOST_BITS = 1 << 30  # 128 MiB: a bit for each person in each span
ROWS = ("int_hours_days", "work_slots", "work_people", "work_ids")
CLEANING = (
    "int_unit_map",
    "work_slot_facts",
    "work_hours",
    "int_repeated_rows",
    "int_double_loads",
    "work_corrected",
    "int_negative_totals",
    "work_fates",
    "work_fated_hours",
    "work_hour_groups",
    "work_person_days",
    CROWDED,
    "work_crowds",
    "stg_units",
    "stg_hours",
    "stg_incidents",
    "stg_training",
)
PERSON_TIME = (
    "int_completions",
    "int_training_intervals",
    "int_recent_hours",
    "int_training_due",
    "int_period_totals",
    "int_unit_periods",
    "int_hours_parts",
    "int_first_days",
    "work_stretches",
    "work_slot_parts",
    "work_person_time",
    "work_person_sums",
    "int_person_time",
    "int_cases",
    "int_hours_gaps",
    "int_case_details",
    "int_staff_parts",
    "int_case_groups",
    "int_exposure_parts",
    "int_audits",
)
RESULTS = (
    "out_unit_quarters",
    "out_quarters",
    "out_person_time",
    "out_unclassified",
    "out_training_people",
    "out_training_summary",
    "out_training_due",
    "out_units",
    "out_events_diary",
    "out_reference_rates",
    "out_row_accounting",
    "out_reconciliation",
    "out_strata",
    "out_exposure",
    "out_months",
    "out_waits",
    "out_tasks",
    "out_staff_hours",
    "out_case_groups",
    "out_case_days",
    "out_lags",
    "out_lag_curve",
    "out_repeats",
    "out_claims",
    "out_audits",
)

CHECKED = ("out_row_accounting", "out_reconciliation")  # results that a check of the files speaks of


def prepare(program: Program, store: Store, as_of: date) -> ReviewDays:
    """Settle the review's days and build the cleaned views. After this the cross-checks can run."""
    for name in ROWS:
        store.run(name)
    days = review_days(program, store, as_of)
    fill_lookups(program, store, days)
    matched = _match_share(store)
    fill_settings(program, store, days, absent_is_unknown=matched < program.training.minimum_match_share)
    for name in CLEANING:
        store.run(name, _bits(store) if name == CROWDED else None)
    return days


def _bits(store: Store) -> dict[str, object]:
    """The largest number of a person, and whether a bit for each of them in each span is little enough to hold."""
    people, spans = store.fetch(
        "SELECT coalesce(max(person), 0), (SELECT coalesce(max(span_no), 0) FROM work.slot_facts) FROM work.people"
    )[0]
    return {"people": max(people, 1), "fits": people * spans <= MOST_BITS}


def measure(store: Store, engine: Engine | None = None, results: Sequence[str] = RESULTS) -> dict[str, pd.DataFrame]:
    """Build person-time and the ``results``; returns these by name, without their ``out_``.

    ``engine`` adds up person-time: DuckDB unless given.
    """
    for name in (*PERSON_TIME, *results):
        if name == "work_person_time":
            (engine or DuckDBEngine()).build_person_time(store)
        else:
            store.run(name)
    return {name.removeprefix("out_"): store.frame(name) for name in results}


def _match_share(store: Store) -> float:
    """Share of the ids in the training file that the hours file knows; 1 where the training file is empty."""
    share = store.rows("int_match_share")[0]["match_share"]
    return 1.0 if share is None else float(share)
