"""Cross-checks: rules that need more than one row or more than one file, run as SQL and told as findings."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from handling_review.findings import Finding
from handling_review.intake.load import Intake
from handling_review.intake.rules import CROSS_RULES
from handling_review.store.database import Store

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Check:
    """One cross-check: the query, the file it speaks of, and the words around a row it returns."""

    query: str
    file: str
    rule: str
    severity: str
    column: str
    message: Callable[[Row], str]
    what_to_do: Callable[[Row], str]


def _fixed(text: str) -> Callable[[Row], str]:
    return lambda row: text


BEFORE_MEASURE = (
    Check(
        "find_repeated_case_numbers", "incidents", "case number repeated", "look", "case_number",
        lambda r: f"case number {r['found']!r} stands {r['rows']} times in one year; all are counted.",
        _fixed("If one is an older version of the other, remove it from the export."),
    ),
    Check(
        "find_days_beyond_cap", "incidents", "days beyond 180", "note", "days_away",
        lambda r: f"{r['found']} days away and restricted together; the log may stop at 180 (29 CFR 1904.7). Kept.",
        _fixed("Nothing, if the count is meant."),
    ),
    Check(
        "find_outcome_against_days", "incidents", "outcome against days", "look", "outcome",
        lambda r: f"{r['found']}: they do not fit together. Counted by its outcome.",
        _fixed("Correct the outcome or the days in the log."),
    ),
    Check(
        "find_reported_before_event", "incidents", "reported before it happened", "look", "reported_date",
        lambda r: f"reported {r['found']}. The case is counted; its reporting lag is not used.",
        _fixed("Correct one of the two dates."),
    ),
    Check(
        "find_long_days", "hours", "more hours than the days hold", "look", "hours",
        lambda r: f"{r['found']} for one person. The hours are counted.",
        _fixed("Correct the hours, or leave the employee id blank if the row is a unit total."),
    ),
    Check(
        "find_blank_pay_codes", "hours", "blank pay code", "note", "pay_code",
        lambda r: f"{r['rows']:,} rows have no pay code while others have one; their hours count as worked.",
        _fixed("Add the code if these hours were not worked."),
    ),
    Check(
        "find_unlisted_units", "units", "unit not listed", "look", "unit",
        lambda r: f"{r['found']!r} has hours or cases and is not in the units file; it is shown as a unit of its own.",
        lambda r: f'List it, or add "{r["found"]}" = "the right unit" under [units.aliases] of the program file.',
    ),
    Check(
        "find_unmatched_training", "training", "training without hours", "look", "employee_id",
        lambda r: f"{r['rows']:,} of {r['people']:,} people in the training file have no hours."
        + (" People without a training row are therefore called unknown, not untrained." if r["is_unknown"] else ""),
        _fixed("Leavers from before the period are expected; otherwise compare the ids of both systems."),
    ),
    Check(
        "find_unmatched_cases", "incidents", "case without hours of its person", "look", "employee_id",
        lambda r: f"{r['rows']:,} cases belong to people without hours; they count for their unit.",
        _fixed("Compare the ids of both systems."),
    ),
    Check(
        "find_remedial_training", "training", "trained after an own injury", "note", "completed_on",
        lambda r: f"{r['rows']:,} people were first trained within 30 days after an own injury.",
        _fixed("Training that answers an injury can look better than it is; keep it in mind when reading the ratio."),
    ),
    Check(
        "find_unclassified", "incidents", "handling undecided", "look", "handling_related",
        lambda r: f"{r['rows']:,} of {r['recordable']:,} recordable cases cannot be called handling-related or not.",
        _fixed("Fill in activity or handling_related; until then the review shows the result with and without them."),
    ),
    Check(
        "find_no_qualifying_training", "training", "no qualifying training", "look", "course",
        lambda r: f"none of the {r['rows']:,} rows qualifies, so before and after training cannot be compared. "
        f"Courses seen: {(r['found'] or 'none')[:300]}.",
        _fixed("Name the courses that count in [training] qualifying_courses of the program file."),
    ),
)  # fmt: skip

AFTER_MEASURE = (
    Check(
        "find_hours_gaps", "hours", "hours missing", "look", "period_start",
        lambda r: f"{r['found']} has no hours from {r['from_day']} to {r['to_day']} ({r['rows']} days); no rate is "
        "printed for the quarters touched.",
        _fixed("Add the missing pay periods, or state opened_on and closed_on in the units file."),
    ),
    Check(
        "find_trained_in_comparison", "units", "trained people in a comparison unit", "note", "comparison",
        lambda r: f"{r['rows']:,} trained people worked {r['hours']:,.0f} hours in comparison unit {r['found']!r}.",
        _fixed("Keep it in mind where units are compared."),
    ),
)  # fmt: skip


def run_checks(store: Store, intake: Intake, checks: tuple[Check, ...]) -> Iterator[Finding]:
    """Findings of the given cross-checks, in the order of their queries."""
    for check in checks:
        for row in store.rows(check.query):
            message = check.message(row) + _more_lines(row)
            yield Finding(
                severity=check.severity,
                rule=check.rule,
                file=_file_name(intake, check.file, row),
                line=int(row.get("line") or 0),
                column=check.column,
                found="" if check.column == "employee_id" else str(row.get("found") or "")[:200],
                message=message,
                what_to_do=check.what_to_do(row),
                rows=int(row.get("rows") or 1),
                hours=float(row.get("hours") or 0),
                cases=int(row.get("cases") or (1 if check.file == "incidents" else 0)),
            )


def fate_findings(store: Store, intake: Intake) -> Iterator[Finding]:
    """Findings for rows that a rule set aside after they were read."""
    for row in store.rows("find_fates"):
        rule = CROSS_RULES[row["fate"]]
        if rule.severity == "note":
            continue
        found = f"{row['found']!r}: " if row["found"] else ""
        count = row["rows"]
        moved = f" {count:,} rows" if count > 1 else " One row"
        hours = f", {row['hours']:,.1f} hours" if row["hours"] else ""
        yield Finding(
            severity=rule.severity,
            rule=row["fate"],
            file=_file_name(intake, row["file"], row),
            line=row["line"],
            found=row["found"] or "",
            message=f"{found}{rule.meaning}{moved}{hours}.{_more_lines(row)}",
            what_to_do=rule.what_to_do,
            rows=count,
            hours=abs(row["hours"] or 0),
            cases=row["cases"],
        )


def _more_lines(row: Row) -> str:
    lines = row.get("more_lines")
    return f" Also line {', '.join(str(n) for n in lines)}." if lines else ""


def _file_name(intake: Intake, file: str, row: Row) -> str:
    return intake.name_of(file, int(row.get("file_no") or 1))
