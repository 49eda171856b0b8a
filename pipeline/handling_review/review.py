"""The story of one build, in order: read, check, load, measure, judge, write."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from handling_review import manifest
from handling_review.findings import Finding, blocking, in_order
from handling_review.intake.checks import AFTER_MEASURE, BEFORE_MEASURE
from handling_review.intake.cross import fate_findings, reconciliation_findings, run_checks, tally_findings
from handling_review.intake.ledger import as_frame, ledger
from handling_review.intake.load import Intake, load_all
from handling_review.kept import keep
from handling_review.problems import DataProblem, OutputProblem
from handling_review.program import Program
from handling_review.store.database import Store
from handling_review.store.measure import measure, prepare
from handling_review.store.publish import output_folder
from handling_review.store.settle import ReviewDays

if TYPE_CHECKING:
    from handling_review.evidence.assemble import Review

Progress = Callable[[str, int], None]
PAGE = "program-review.html"


@dataclass(frozen=True)
class Measured:
    """Everything between the files and the page: days, findings, the ledger, and the result tables."""

    days: ReviewDays
    intake: Intake
    findings: tuple[Finding, ...]
    tables: Mapping[str, pd.DataFrame]

    def record(self, program: Program) -> manifest.Record:
        """What the page and the manifest say about this run."""
        return manifest.record(program, self.days, self.tables)


@dataclass(frozen=True)
class Built:
    """A finished build: the page, what was found in the data, and what to note elsewhere about it."""

    page: Path
    findings: tuple[Finding, ...]
    run_id: str
    manifest_sha256: str


def quiet(_stage: str, _rows: int) -> None:
    """No progress shown."""


def check(program: Program, as_of: date, progress: Progress = quiet) -> tuple[Finding, ...]:
    """Read and cross-check the files of a program; nothing is kept.

    Raises ``DataProblem`` where a file cannot be read at all. Findings come most consequential first.
    """
    with tempfile.TemporaryDirectory(prefix="handling-review-") as folder:
        return measured(program, as_of, Path(folder), progress).findings


def measured(
    program: Program, as_of: date, folder: Path, progress: Progress = quiet, *, is_kept: bool = False
) -> Measured:
    """Files to result tables, in a database ``review.duckdb`` inside ``folder``.

    ``is_kept``: the database is part of a review and also holds what a review needs to be worked out again.
    """
    with Store(folder / "review.duckdb", folder / "spill") as store:
        intake = load_all(program, store, progress)
        progress("checking", 0)
        days = prepare(program, store, as_of)
        findings = [*intake.findings, *tally_findings(intake)]
        findings += [*fate_findings(store, intake), *run_checks(store, intake, BEFORE_MEASURE)]
        progress("counting hours and cases", 0)
        tables = measure(store)
        findings += [*run_checks(store, intake, AFTER_MEASURE), *reconciliation_findings(tables["reconciliation"])]
        tables["accounting"] = as_frame(ledger(intake, tables["row_accounting"]))
        tables["findings"] = findings_frame(in_order(findings))
        tables["inputs"] = _inputs(intake)
        found = Measured(days, intake, tuple(in_order(findings)), tables)
        if is_kept:
            keep(store, found.record(program))
        store.checkpoint()
    return found


def build(program: Program, as_of: date, out: Path, progress: Progress = quiet) -> Built:
    """Build the review into ``out``.

    Raises ``DataProblem`` (nothing written, the last good output untouched) where a finding blocks a true review.
    """
    with output_folder(out) as folder:
        found = measured(program, as_of, folder, progress, is_kept=True)
        review = _judged(program, found, progress)
        progress("writing", 0)
        write_results(review, found.tables["findings"], folder)
        (folder / "review.duckdb").chmod(0o600)
        _remove_spill(folder)
        record = found.record(program)
        manifest.write(record, folder)
        digest = manifest.sha256(folder / manifest.NAME)
    return Built(out / PAGE, found.findings, record.run_id, digest)


def write_results(review: Review, findings: pd.DataFrame, folder: Path) -> None:
    """Write the page, the tables and the findings into an empty folder."""
    from handling_review.evidence.export import result_frames
    from handling_review.page.build import render

    (folder / PAGE).write_text(render(review), encoding="utf-8", newline="\n")
    (folder / "tables").mkdir()
    for name, frame in sorted(result_frames(review).items()):
        _write_csv(frame, folder / "tables" / f"{name}.csv")
    _write_csv(findings, folder / "findings.csv")


def examine(program: Program, as_of: date, progress: Progress = quiet) -> Review:
    """All evidence of a review, with nothing written and nothing kept.

    Raises ``DataProblem`` where a finding blocks a true review.
    """
    with tempfile.TemporaryDirectory(prefix="handling-review-") as folder:
        found = measured(program, as_of, Path(folder), progress)
    return _judged(program, found, progress)


def refuse_blocked(findings: Sequence[Finding]) -> None:
    """Raise ``DataProblem`` with every finding that blocks a true review; nothing where there is none."""
    stop = blocking(findings)
    if stop:
        raise DataProblem("\n".join(finding.sentence() for finding in stop))


def _judged(program: Program, found: Measured, progress: Progress) -> Review:
    from handling_review.evidence.assemble import assemble
    from handling_review.evidence.tables import ResultTables

    refuse_blocked(found.findings)
    progress("judging", 0)
    return assemble(ResultTables.from_dict(found.tables), found.record(program).scope(), program)


def findings_frame(findings: list[Finding]) -> pd.DataFrame:
    """Findings as a table, most consequential first."""
    columns = (
        "severity",
        "rule",
        "file",
        "line",
        "column",
        "found",
        "count",
        "hours_moved",
        "cases_moved",
        "message",
        "what_to_do",
    )
    rows = [
        (f.severity, f.rule, f.file, f.line, f.column, f.found, f.rows, f.hours, f.cases, f.message, f.what_to_do)
        for f in findings
    ]
    return pd.DataFrame(rows, columns=list(columns))


def write_findings(findings: Sequence[Finding], path: Path) -> None:
    """Write findings to a CSV file; raises ``OutputProblem`` if it cannot be written."""
    try:
        _write_csv(findings_frame(list(findings)), path)
    except OSError as error:
        raise OutputProblem(f"{path}: cannot be written ({error.strerror}).") from None


def _inputs(intake: Intake) -> pd.DataFrame:
    rows = [(one.file, one.path.name, one.sha256, one.rows, one.size) for one in intake.files]
    return pd.DataFrame(rows, columns=["file", "name", "sha256", "rows", "bytes"])


def _write_csv(frame: pd.DataFrame, path: Path) -> None:
    """Write a result table; text that a spreadsheet would run as a formula gets a leading apostrophe."""
    safe = frame.copy()
    for name in safe.columns:
        if pd.api.types.is_string_dtype(safe[name]) or safe[name].dtype == object:
            safe[name] = safe[name].map(formula_safe)
    safe.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


def formula_safe(value: Any) -> Any:
    """The value with an apostrophe before it if it is text that a spreadsheet would run as a formula."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r", "\n", "|", "＝", "＋", "－", "＠"):
        return "'" + value
    return value


def _remove_spill(folder: Path) -> None:
    spill = folder / "spill"
    if spill.exists():
        for left in spill.iterdir():
            left.unlink()
        spill.rmdir()
