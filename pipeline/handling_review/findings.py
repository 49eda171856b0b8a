"""Findings: what was found in the data, where, and what to do. Never a personal value."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

SEVERITIES = ("blocks", "look", "note")
SHOWN_LINES = 5


@dataclass(frozen=True)
class Finding:
    """One thing found in the data.

    severity: ``blocks`` (no true review is possible), ``look`` (a person should look), ``note`` (said for the record).
    ``rows``: rows it concerns; ``hours`` and ``cases``: how many hours or cases it moves. ``found`` is blank where the
    value is personal. ``suggest``: table and line for the program file that would settle it, ready to paste.
    """

    severity: str
    rule: str
    file: str
    message: str
    what_to_do: str
    line: int = 0
    column: str = ""
    found: str = ""
    rows: int = 1
    hours: float = 0.0
    cases: int = 0
    suggest: tuple[str, str] | None = None

    def sentence(self) -> str:
        """The finding as one line: where, what, what to do."""
        where = self.file
        if self.line:
            where += f", line {self.line}"
        if self.column:
            where += f", column {self.column}"
        return f"{where}: {self.message} {self.what_to_do}".strip()


def in_order(findings: Iterable[Finding]) -> list[Finding]:
    """Most consequential first: what blocks, then by cases and hours moved, then by file and line."""
    return sorted(
        findings,
        key=lambda f: (SEVERITIES.index(f.severity), -f.cases, -f.hours, -f.rows, f.file, f.rule, f.line, f.column),
    )


def suggestions(findings: Iterable[Finding]) -> str:
    """Lines for the program file that would settle findings, by table; empty where there are none."""
    tables: dict[str, list[str]] = {}
    for finding in findings:
        if finding.suggest:
            table, line = finding.suggest
            lines = tables.setdefault(table, [])
            if line not in lines:
                lines.append(line)
    return "\n".join("\n".join([f"[{table}]", *lines]) for table, lines in sorted(tables.items()))


def blocking(findings: Iterable[Finding]) -> list[Finding]:
    """The findings that stop a build."""
    return [f for f in findings if f.severity == "blocks"]


def with_severity(finding: Finding, severity: str) -> Finding:
    """The same finding at another severity."""
    return replace(finding, severity=severity)
