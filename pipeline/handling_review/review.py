"""The story of one build, in order: read, check, load, measure, judge, write."""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from handling_review import __version__
from handling_review.findings import Finding, blocking, in_order
from handling_review.intake.checks import AFTER_MEASURE, BEFORE_MEASURE
from handling_review.intake.cross import fate_findings, reconciliation_findings, run_checks, tally_findings
from handling_review.intake.ledger import as_frame, ledger
from handling_review.intake.load import Intake, load_all
from handling_review.problems import DataProblem, OutputProblem
from handling_review.program import Program
from handling_review.store.database import Store
from handling_review.store.measure import measure, prepare
from handling_review.store.publish import output_folder
from handling_review.store.settle import ReviewDays

if TYPE_CHECKING:
    from handling_review.evidence.assemble import Review
    from handling_review.evidence.tables import Scope

Progress = Callable[[str, int], None]
PAGE = "program-review.html"
LIBRARIES = ("duckdb", "pandas", "pandera", "plotly", "polars", "pyarrow", "scipy")


@dataclass(frozen=True)
class Measured:
    """Everything between the files and the page: days, findings, the ledger, and the result tables."""

    days: ReviewDays
    intake: Intake
    findings: tuple[Finding, ...]
    tables: Mapping[str, pd.DataFrame]


@dataclass(frozen=True)
class Built:
    """A finished build: the page and what was found in the data."""

    page: Path
    findings: tuple[Finding, ...]


def quiet(_stage: str, _rows: int) -> None:
    """No progress shown."""


def check(program: Program, as_of: date, progress: Progress = quiet) -> tuple[Finding, ...]:
    """Read and cross-check the files of a program; nothing is kept.

    Raises ``DataProblem`` where a file cannot be read at all. Findings come most consequential first.
    """
    with tempfile.TemporaryDirectory(prefix="handling-review-") as folder:
        return measured(program, as_of, Path(folder), progress).findings


def measured(program: Program, as_of: date, folder: Path, progress: Progress = quiet) -> Measured:
    """Files to result tables, in a database ``review.duckdb`` inside ``folder``."""
    with Store(folder / "review.duckdb", folder / "spill") as store:
        intake = load_all(program, store, progress)
        progress("checking", 0)
        days = prepare(program, store, as_of)
        findings = [*intake.findings, *tally_findings(intake)]
        findings += [*fate_findings(store, intake), *run_checks(store, intake, BEFORE_MEASURE)]
        progress("counting hours and cases", 0)
        tables = measure(store)
        findings += [*run_checks(store, intake, AFTER_MEASURE), *reconciliation_findings(tables["reconciliation"])]
        lines = ledger(intake, tables["row_accounting"])
        store.checkpoint()
    return Measured(
        days=days,
        intake=intake,
        findings=tuple(in_order(findings)),
        tables={
            **tables,
            "accounting": as_frame(lines),
            "findings": findings_frame(in_order(findings)),
            "inputs": _inputs(intake),
        },
    )


def build(program: Program, as_of: date, out: Path, progress: Progress = quiet) -> Built:
    """Build the review into ``out``.

    Raises ``DataProblem`` (nothing written, the last good output untouched) where a finding blocks a true review.
    """
    from handling_review.evidence import aggregates
    from handling_review.evidence.export import result_frames
    from handling_review.evidence.tables import ResultTables
    from handling_review.page.build import render

    with output_folder(out) as folder:
        found = measured(program, as_of, folder, progress)
        review = _judged(program, found, progress)
        progress("writing", 0)
        (folder / PAGE).write_text(render(review), encoding="utf-8", newline="\n")
        handed_on = aggregates.gather(ResultTables.from_dict(found.tables), review)
        (folder / aggregates.FILE).write_text(aggregates.as_json(handed_on), encoding="utf-8", newline="\n")
        (folder / "tables").mkdir()
        for name, frame in sorted(result_frames(review).items()):
            write_csv(frame, folder / "tables" / f"{name}.csv")
        write_csv(found.tables["findings"], folder / "findings.csv")
        (folder / "review.duckdb").chmod(0o600)
        _remove_spill(folder)
        _write_manifest(program, found, folder)
    return Built(out / PAGE, found.findings)


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
    return assemble(ResultTables.from_dict(found.tables), _scope(program, found), program)


def _scope(program: Program, found: Measured) -> Scope:
    from handling_review.evidence.tables import Scope

    days = found.days
    return Scope(
        facility_name=program.facility.name,
        facility_naics=program.facility.naics,
        facility_note=program.facility.note,
        start=days.start,
        end=days.end,
        as_of=days.as_of,
        log_complete_through=days.log_through,
        log_complete_stated=days.log_through_stated,
        hours_complete_through=days.hours_through,
        hours_complete_stated=days.hours_through_stated,
        settings_hash=program.settings_hash(),
        run_id=_run_id(program, found),
        versions=_versions(),
        settings=program.settings(),
    )


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
        write_csv(findings_frame(list(findings)), path)
    except OSError as error:
        raise OutputProblem(f"{path}: cannot be written ({error.strerror}).") from None


def _inputs(intake: Intake) -> pd.DataFrame:
    rows = [(one.file, one.path.name, one.sha256, one.rows, one.size) for one in intake.files]
    return pd.DataFrame(rows, columns=["file", "name", "sha256", "rows", "bytes"])


def _versions() -> dict[str, str]:
    return {"handling-review": __version__, **{name: version(name) for name in LIBRARIES}}


def _run_id(program: Program, found: Measured) -> str:
    """Twelve digits that stand for these inputs, settings, days and this version of the tool."""
    parts = [program.settings_hash(), str(found.days), __version__]
    parts += [f"{one.file} {one.sha256}" for one in found.intake.files]
    return hashlib.sha256("\n".join(parts).encode("utf-8")).hexdigest()[:12]


def write_csv(frame: pd.DataFrame, path: Path) -> None:
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


def _write_manifest(program: Program, found: Measured, folder: Path) -> None:
    outputs = sorted(p for p in folder.rglob("*") if p.is_file())
    manifest = {
        "facility": program.facility.name,
        "run_id": _run_id(program, found),
        "review": dict(vars(found.days)),
        "settings_sha256": program.settings_hash(),
        "settings": program.settings(),
        "inputs": found.tables["inputs"].to_dict("records"),
        "row_accounting": found.tables["accounting"].to_dict("records"),
        "outputs": {p.relative_to(folder).as_posix(): sha256_of(p) for p in outputs},
        "versions": _versions(),
        "random_seed": None,
    }
    text = json.dumps(manifest, indent=2, default=str, ensure_ascii=False)
    (folder / "manifest.json").write_text(text + "\n", encoding="utf-8", newline="\n")


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, as hexadecimal digits."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while chunk := stream.read(1 << 20):
            digest.update(chunk)
    return digest.hexdigest()
