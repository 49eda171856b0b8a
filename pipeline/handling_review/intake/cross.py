"""Cross-checks: rules that need more than one row or more than one file, run as SQL and told as findings."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from handling_review.findings import Finding
from handling_review.intake.load import FileRead, Intake
from handling_review.intake.rules import CROSS_RULES
from handling_review.intake.tally import StatedTotal
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
    suggest: Callable[[Row], tuple[str, str] | None] = lambda row: None


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
                suggest=check.suggest(row),
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
            suggest=_suggest_for_fate(row),
        )


def _sum_words(total: StatedTotal) -> str:
    """The sum that a totals row stands for: all rows above it, or only those since the totals row before it."""
    if total.agrees and total.stated != total.of_all:
        return f"the rows since the total before it sum to {total.since_last.normalize():,f}"
    return f"the rows above it sum to {total.of_all.normalize():,f}"


def tally_findings(intake: Intake) -> Iterator[Finding]:
    """Findings from the reading itself: totals rows held against their sums, and values read with a proviso."""
    for one in intake.files:
        name, tally = one.path.name, one.reader.tally
        for total in tally.sums.totals:
            stated = "no number" if total.stated is None else f"{total.stated.normalize():,f}"
            mend = "Nothing to do." if total.agrees else "Find the rows that are missing or doubled in the export."
            yield Finding(
                severity="note" if total.agrees else "look",
                rule="totals row",
                file=name,
                line=total.line,
                column="hours",
                message=f"The totals row states {stated} hours; {_sum_words(total)}"
                + (", as they should." if total.agrees else ": they differ."),
                what_to_do=mend,
                hours=0.0 if total.agrees or total.stated is None else float(abs(total.stated - total.of_all)),
            )
        for (column, note), (rows, line) in sorted(tally.notes.items()):
            yield _note_finding(one, column, note, rows, line)


_NOTES = {
    "scientific id": (
        "blocks",
        "{rows} written like 1.2E+05: a spreadsheet has destroyed the id.",
        "Export again with this column as text.",
    ),
    "point or comma": (
        "blocks",
        "{rows} written like 1.234, in a file that may write decimals with a comma: it can mean 1234 or 1.234.",
        "State under [decimal_comma] of the program file which it is.",
    ),
    "two-digit year": (
        "note",
        "{rows} written with a year of two digits; 00 to 69 are read as 20xx, the others as 19xx.",
        "Export years with four digits if you can.",
    ),
    "time zone": (
        "note",
        "{rows} written with a time zone. The day is taken as it is written.",
        "If the times are not local, events near midnight fall on the wrong day; export local time.",
    ),
    "hidden signs": (
        "note",
        "{rows} written with signs that cannot be seen, as marks of direction or control codes. They are left out.",
        "Nothing, if the text still reads as it should.",
    ),
}


def _note_finding(read: FileRead, column: str, note: str, rows: int, line: int) -> Finding:
    severity, message, what_to_do = _NOTES[note]
    suggest = ("decimal_comma", f"{read.file} = false   # or true") if note == "point or comma" else None
    return Finding(
        severity=severity,
        rule=note,
        file=read.path.name,
        line=line,
        column=column,
        message=message.format(rows="one value is" if rows == 1 else f"{rows:,} values are"),
        what_to_do=what_to_do,
        rows=rows,
        suggest=suggest,
    )


def reconciliation_findings(intake: Intake, reconciliation: pd.DataFrame) -> Iterator[Finding]:
    """Findings for years whose posted annual summary differs from the review; columns as ``out_reconciliation``."""
    for row in reconciliation[reconciliation["is_whole_year"]].to_dict("records"):
        gap = row["in_review"] - row["posted"]
        is_hours = row["figure"] == "hours"
        if abs(gap) <= (0.005 * row["posted"] if is_hours else 0):
            continue
        aside = f" {row['set_aside']} more of that year are set aside." if row["set_aside"] else ""
        yield Finding(
            severity="look",
            rule="posted summary differs",
            file=intake.name_of("annual_totals", 1),
            column=str(row["figure"]),
            message=f"{row['year']}: {str(row['figure']).replace('_', ' ')} posted {row['posted']:,.0f}, in the review "
            f"{row['in_review']:,.0f} ({gap:+,.0f}).{aside}",
            what_to_do="Find which record is right; the log is updated for five years, the posted summary is not.",
            hours=abs(gap) if is_hours else 0.0,
            cases=0 if is_hours else int(abs(gap)),
        )


def _suggest_for_fate(row: Row) -> tuple[str, str] | None:
    if row["fate"] == "unmapped pay code":
        return "pay_codes", f"# {json.dumps(row['found'])} goes into worked, not_worked or premium_only"
    if row["fate"] == "unit without hours":
        return "units.aliases", f'{json.dumps(row["found"], ensure_ascii=False)} = "?"   # the unit it stands for'
    return None


def _more_lines(row: Row) -> str:
    lines = row.get("more_lines")
    return f" Also line {', '.join(str(n) for n in lines)}." if lines else ""


def _file_name(intake: Intake, file: str, row: Row) -> str:
    return intake.name_of(file, int(row.get("file_no") or 1))
