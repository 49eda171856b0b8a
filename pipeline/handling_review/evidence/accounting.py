"""What became of every row, and what in the data asks to be put right."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.tables import ResultTables

SEVERITIES = ("blocks", "look", "note")
_LINES_SHOWN = 6


@dataclass(frozen=True)
class RuleRow:
    """Rows of one file that one rule used, set aside or excluded."""

    file: str
    rule: str
    kind: str
    rows: Number
    meaning: str


@dataclass(frozen=True)
class FileRow:
    """One file: rows in = rows used + rows set aside + rows excluded by a stated rule."""

    file: str
    rows_in: Number
    used: Number
    set_aside: Number
    excluded: Number
    balances: bool


@dataclass(frozen=True)
class InputFile:
    """One file as it was read."""

    file: str
    name: str
    sha256: str
    rows: Number
    size: Number


@dataclass(frozen=True)
class FindingGroup:
    """Findings of one rule in one file: where they are and what to do, never the value found.

    ``message`` is empty where it would repeat a value from a row: that value may point at one person.
    """

    severity: str
    rule: str
    file: str
    columns: str
    count: Number
    lines: tuple[int, ...]
    more_lines: bool
    message: str
    what_to_do: str


@dataclass(frozen=True)
class AccountingEvidence:
    """Row accounting per file and rule, findings grouped by rule (most serious first), inputs."""

    files: tuple[FileRow, ...]
    rules: tuple[RuleRow, ...]
    inputs: tuple[InputFile, ...]
    findings: tuple[FindingGroup, ...]
    findings_by_severity: tuple[Number, ...]
    rows_in: Number
    rows_used: Number
    rows_not_used: Number

    @property
    def balances(self) -> bool:
        """Whether every file's rows are accounted for to the last one."""
        return all(row.balances for row in self.files)

    def finding_count(self, severity: str) -> Number:
        """How many findings of one severity (blocks, look, note)."""
        return self.findings_by_severity[SEVERITIES.index(severity)]


def gather(tables: ResultTables) -> AccountingEvidence:
    """Row accounting and findings, in a fixed order."""
    frame = tables.accounting
    order = list(dict.fromkeys([*map(str, tables.inputs["file"]), *map(str, frame["file"])]))
    files = []
    for file in order:
        own = frame[frame["file"] == file]
        parts = {kind: int(own.loc[own["kind"] == kind, "rows"].sum()) for kind in _KINDS}
        rows_in = int(tables.inputs.loc[tables.inputs["file"] == file, "rows"].sum())
        files.append(
            FileRow(
                file=file,
                rows_in=_rows(f"in/{file}", rows_in),
                used=_rows(f"used/{file}", parts["used"]),
                set_aside=_rows(f"set_aside/{file}", parts["set_aside"]),
                excluded=_rows(f"excluded/{file}", parts["excluded"]),
                balances=sum(parts.values()) == rows_in,
            )
        )
    used = sum(int(row.used.value or 0) for row in files)
    rows_in = sum(int(row.rows_in.value or 0) for row in files)
    groups = _groups(tables.findings)
    return AccountingEvidence(
        files=tuple(files),
        rules=tuple(
            RuleRow(
                file=str(row.file),
                rule=str(row.rule),
                kind=str(row.kind),
                rows=_rows(f"{row.kind}/{row.file}/{key_part(str(row.rule))}", int(str(row.rows))),
                meaning=str(row.meaning),
            )
            for file in order
            for row in frame[frame["file"] == file].itertuples()
        ),
        inputs=tuple(
            InputFile(
                file=str(row["file"]),
                name=str(row["name"]),
                sha256=str(row["sha256"]),
                rows=_rows(f"read/{row['file']}/{key_part(str(row['name']))}", int(row["rows"])),
                size=numbers.count(f"bytes/{row['file']}/{key_part(str(row['name']))}", int(row["bytes"]), "bytes"),
            )
            for row in tables.inputs.to_dict("records")
        ),
        findings=groups,
        findings_by_severity=tuple(
            numbers.count(
                f"findings/{severity}",
                sum(group.severity == severity for group in groups),
                "findings",
            )
            for severity in SEVERITIES
        ),
        rows_in=_rows("in/all", rows_in),
        rows_used=_rows("used/all", used),
        rows_not_used=_rows("not_used/all", rows_in - used),
    )


_KINDS = ("used", "set_aside", "excluded")


def _rows(name: str, value: int) -> Number:
    return numbers.count(f"rows/{name}", value, "rows")


def _groups(findings: pd.DataFrame) -> tuple[FindingGroup, ...]:
    groups = []
    for key, part in findings.groupby(["severity", "rule", "file"], sort=True):
        severity, rule, file = (str(value) for value in key)
        total = int(part["count"].sum())
        lines = sorted({int(line) for line in part["line"] if not pd.isna(line) and int(line) > 0})
        columns = sorted({str(c) for c in part["column"] if not pd.isna(c) and str(c)})
        groups.append(
            FindingGroup(
                severity=severity,
                rule=rule,
                file=file,
                columns=", ".join(columns),
                count=numbers.count(f"findings/{severity}/{file}/{key_part(rule)}", total, "findings"),
                lines=tuple(lines[:_LINES_SHOWN]),
                more_lines=len(lines) > _LINES_SHOWN or total > len(lines) > 0,
                message=_message(part),
                what_to_do=str(part["what_to_do"].iloc[0]),
            )
        )
    return tuple(
        sorted(
            groups,
            key=lambda g: (SEVERITIES.index(g.severity), -int(g.count.value or 0), g.file, g.rule),
        )
    )


def _message(part: pd.DataFrame) -> str:
    """The message of a group of findings, unless it quotes a value or there are several different ones."""
    quoted = [not pd.isna(value) and str(value) != "" for value in part["found"]]
    messages = {str(value) for value in part["message"]}
    return messages.pop() if len(messages) == 1 and not any(quoted) else ""
