"""What evidence is drawn from: the result tables of one build and the scope they cover."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

import pandas as pd

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
      qualifying_completions, first_completions, people_never_trained, people_unknown.
    - ``events_diary``: date, unit, what.
    - ``reference_rates``: naics, ownership, year, case_type, rate, base_hours, source.
    - ``inputs``: file, name, sha256, rows, bytes.
    - ``reconciliation``: year, figure (deaths, days_away_cases, restricted_cases, other_cases, hours), posted,
      in_review, set_aside (rows of that year that could not be used), is_whole_year.
    - ``strata``: quarter, unit, phase, band (days since the first completion: "day 0", "days 1-29" ... ; "before",
      "none"), lapsed, go_live_phase, is_agency, is_remedial (bool), hours, and cases: handling, non_handling,
      recordable, dart, days_away, first_handling (the first of each person), handling_not_respiratory, unclassified.
    - ``exposure``: quarter, unit, go_live_phase, measure (patient_days, transfers ...), quantity.
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
        return cls(**{field.name: frames[field.name] for field in fields(cls)})


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
