"""What evidence is drawn from: the result tables of one build and the scope they cover."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

import pandas as pd

from handling_review.visible import readable

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "person_time": (
        "quarter",
        "unit",
        "phase",
        "go_live_phase",
        "lapsed",
        "series",
        "events",
        "hours",
    ),
    "quarters": (
        "quarter",
        "quarter_start",
        "quarter_end",
        "hours_days_missing",
        "is_complete",
        "is_mature",
        "reason",
    ),
    "unit_quarters": ("unit", "quarter", "hours", "is_complete", "reason"),
    "units": ("unit", "name", "care_type", "program_start", "comparison"),
    "unclassified": ("quarter", "unit", "phase", "events"),
    "accounting": ("file", "rule", "kind", "rows", "meaning"),
    "findings": (
        "severity",
        "rule",
        "file",
        "line",
        "column",
        "found",
        "count",
        "message",
        "what_to_do",
    ),
    "training_people": ("quarter", "people_with_hours", "people_trained", "people_lapsed"),
    "training_summary": (
        "people_in_training",
        "people_matched",
        "match_share",
        "qualifying_completions",
        "classes",
        "first_completions",
        "people_never_trained",
        "people_unknown",
    ),
    "events_diary": ("date", "unit", "what"),
    "reference_rates": (
        "naics",
        "ownership",
        "year",
        "case_type",
        "rate",
        "base_hours",
        "source",
    ),
    "inputs": ("file", "name", "sha256", "rows", "bytes"),
    "reconciliation": ("year", "figure", "posted", "in_review", "set_aside", "is_whole_year"),
    "strata": (
        *("quarter", "unit", "phase", "band", "lapsed", "go_live_phase", "is_agency", "is_remedial", "hours"),
        *("handling", "non_handling", "recordable", "dart", "days_away", "first_handling"),
        *("handling_not_respiratory", "unclassified"),
    ),
    "exposure": ("quarter", "unit", "go_live_phase", "measure", "quantity"),
    "months": ("unit", "quarter", "month", "hours", "handling", "recordable", "dart", "days_away"),
    "waits": ("unit", "series", "position", "quarter", "days", "days_since"),
    "tasks": (
        *("quarter", "activity", "equipment_in_use", "technique", "load", "suited_equipment"),
        *("recordable", "first_aid"),
    ),
    "staff_hours": ("quarter", "job", "tenure", "hours"),
    "case_groups": ("quarter", "kind", "value", "handling", "recordable", "dart", "days_away"),
    "case_days": ("quarter", "outcome", "is_handling", "days", "is_blank", "is_counting", "cases"),
    "lags": ("quarter", "lag_days", "recordable", "handling", "dart", "days_away", "first_aid"),
    "lag_curve": ("lag_days", "cases", "reported_by_then"),
    "repeats": ("kind", "cases", "people"),
    "training_due": ("unit", "state", "due_month", "people"),
    "claims": ("quarter", "is_handling", "is_old_enough", "cost", "cases"),
    "audits": ("quarter", "unit", "transfer_type", "item", "met", "not_met", "not_applicable"),
}

# Columns that point at one person. A frame that holds one never gets as far as a page.
PERSONAL_COLUMNS = frozenset(
    {"employee_id", "person_id", "employee", "person", "case_number", "narrative", "event_date"}
)


@dataclass(frozen=True)
class ResultTables:
    """The result tables of one build, one pandas frame a field, no row about a single person.

    - ``person_time``: one row per quarter x unit x phase x go_live_phase x lapsed x series with hours or
      events. quarter ("2025-Q3"), unit, phase (before, washout, after, never, unknown), go_live_phase
      (before, after, none), lapsed (bool), series (handling, non_handling, recordable, dart, days_away,
      first_aid), events (cases), hours (worked hours; the same hours stand on every series row of a cell).
    - ``quarters``: quarter, quarter_start, quarter_end (dates), hours_days_missing (days), is_complete,
      is_mature (the log is old enough to be firm; provisional if not), reason ("" if complete).
    - ``unit_quarters``: unit, quarter, hours, is_complete, reason.
    - ``units``: unit, name, care_type, program_start (date or missing), comparison (bool).
    - ``unclassified``: quarter, unit, phase, events (recordable cases whose relation to handling could not
      be decided).
    - ``accounting``: file, rule ("used" or the rule that set the rows aside), kind (used, set_aside,
      excluded), rows, meaning (one sentence).
    - ``findings``: severity (blocks, look, note), rule, file, line, column, found, count, message,
      what_to_do.
    - ``training_people``: quarter, people_with_hours, people_trained, people_lapsed.
    - ``training_summary``: one row: people_in_training, people_matched, match_share,
      qualifying_completions, classes (days of them by person), first_completions, people_never_trained, people_unknown.
    - ``events_diary``: date, unit, what.
    - ``reference_rates``: naics, ownership, year, case_type, rate, base_hours, source.
    - ``inputs``: file, name, sha256, rows, bytes.
    - ``reconciliation``: year, figure (deaths, days_away_cases, restricted_cases, other_cases, hours), posted,
      in_review, set_aside (rows of that year that could not be used), is_whole_year.
    - ``strata``: quarter, unit, phase, band (days since the first completion: "day 0", "days 1-29" ... ; "before",
      "none"), lapsed, go_live_phase, is_agency, is_remedial (bool), hours, and cases: handling, non_handling,
      recordable, dart, days_away, first_handling (the first of each person), handling_not_respiratory, unclassified.
    - ``exposure``: quarter, unit, go_live_phase, measure (patient_days, transfers ...), quantity.
    - ``months``: unit, quarter, month ("2025-07"), hours, and cases by series.
    - ``waits``: unit ("": the whole facility), series, position (order of the cases), quarter, days (since the case
      before, missing for the first), days_since (from the last case to the end of the log).
    - ``tasks``: handling cases by quarter, activity, equipment_in_use, technique (in_band, outside_band, no_band,
      not_known, not_a_technique), load (over_limit, within_limit, not_known, not_counted), suited_equipment (in_use,
      on_unit_not_in_use, not_on_unit, unit_not_listed, not_known, no_suited_class).
    - ``staff_hours``: hours by quarter, job group and time since a person's first hours (tenure).
    - ``case_groups``: recordable cases by quarter, kind (job, tenure, body_part, nature, hour) and value.
    - ``case_days``: recordable cases by quarter, outcome, is_handling and days lost (at most 180); is_blank: no days
      given for a DART case; is_counting: the days still run.
    - ``lags``: cases by quarter and days from event to report (missing: no day of report).
    - ``lag_curve``: lag_days, cases with just that lag, reported_by_then (cases reported within it among those that
      could be so late when the exports were taken).
    - ``training_due``: people who still work here by unit, state (never_trained, overdue, due, current_no_end, unknown,
      comparison_unit) and the month in which training lapses (blank unless due).
    - ``claims``: recordable cases by quarter, is_handling, is_old_enough and cost of the claim.
    - ``audits``: technique audits by quarter, unit, transfer_type and item: met, not_met, not_applicable.
    - ``repeats``: kind (seen: people by their number of cases; expected: people by what their hours let expect).
    """

    person_time: pd.DataFrame
    quarters: pd.DataFrame
    unit_quarters: pd.DataFrame
    units: pd.DataFrame
    unclassified: pd.DataFrame
    accounting: pd.DataFrame
    findings: pd.DataFrame
    training_people: pd.DataFrame
    training_summary: pd.DataFrame
    events_diary: pd.DataFrame
    reference_rates: pd.DataFrame
    inputs: pd.DataFrame
    reconciliation: pd.DataFrame
    strata: pd.DataFrame
    exposure: pd.DataFrame
    months: pd.DataFrame
    waits: pd.DataFrame
    tasks: pd.DataFrame
    staff_hours: pd.DataFrame
    case_groups: pd.DataFrame
    case_days: pd.DataFrame
    lags: pd.DataFrame
    lag_curve: pd.DataFrame
    repeats: pd.DataFrame
    audits: pd.DataFrame
    training_due: pd.DataFrame
    claims: pd.DataFrame

    @classmethod
    def from_dict(cls, frames: Mapping[str, pd.DataFrame]) -> ResultTables:
        """The tables from frames by name.

        Raises ``ValueError`` that names the frame and the column when one is missing, or when a frame holds
        a column about a single person. Frames and columns beyond the known ones are let be and not used.
        """
        missing = [name for name in COLUMNS if name not in frames]
        if missing:
            raise ValueError(f"result tables lack {', '.join(missing)}")
        for name, wanted in COLUMNS.items():
            columns = [str(column) for column in frames[name].columns]
            absent = [column for column in wanted if column not in columns]
            if absent:
                raise ValueError(f"result table {name} lacks the column {', '.join(absent)}")
            personal = sorted(PERSONAL_COLUMNS.intersection(columns))
            if personal:
                raise ValueError(f"result table {name} holds {personal[0]}, which is about single persons")
        return cls(**{field.name: _shown(frames[field.name]) for field in fields(cls)})


def _shown(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with every text fit for a page; unit codes stay as they are, since other tables are joined by them."""
    texts = [
        name
        for name in frame.columns
        if name != "unit" and (pd.api.types.is_string_dtype(frame[name]) or frame[name].dtype == object)
    ]
    changed = {name: frame[name].map(lambda v: readable(v) if isinstance(v, str) else v) for name in texts}
    return frame.assign(**changed) if changed else frame


@dataclass(frozen=True)
class Scope:
    """Which facility, which days and which run a review is of.

    ``log_complete_through`` and ``hours_complete_through`` are the last days that the injury log and the
    hours are known to be complete; the two ``*_stated`` flags say whether the program file states the day or
    it was assumed. ``settings`` are the plain values of the program file, ``versions`` name to version.
    """

    facility_name: str
    facility_naics: str
    facility_note: str
    start: date
    end: date
    as_of: date
    log_complete_through: date
    log_complete_stated: bool
    hours_complete_through: date
    hours_complete_stated: bool
    settings_hash: str
    run_id: str
    versions: Mapping[str, str]
    settings: Mapping[str, Any]
