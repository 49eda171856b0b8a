"""The story of one build, in order: read, check, load, measure, judge, write."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import date
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from handling_review import manifest, pseudonyms
from handling_review.beside import beside
from handling_review.findings import Finding, blocking, in_order
from handling_review.history.find import Earlier, earlier
from handling_review.history.known import known_hours
from handling_review.intake.checks import AFTER_MEASURE, BEFORE_MEASURE
from handling_review.intake.cross import fate_findings, reconciliation_findings, run_checks, tally_findings
from handling_review.intake.known_hours import KnownHours
from handling_review.intake.ledger import as_frame, ledger
from handling_review.intake.load import Intake, load_all
from handling_review.kept import keep
from handling_review.problems import DataProblem, OutputProblem, ProgramProblem
from handling_review.program import Program
from handling_review.pseudonyms import Pseudonyms
from handling_review.store.database import Store, stored_check_value
from handling_review.store.engine import Engine, engine_of
from handling_review.store.measure import CHECKED, RESULTS, measure, prepare
from handling_review.store.publish import output_folder
from handling_review.store.settle import ReviewDays
from handling_review.visible import printable, readable

if TYPE_CHECKING:
    from handling_review.evidence.assemble import Changed, Review
    from handling_review.evidence.numbers import Number
    from handling_review.evidence.restated_compare import Changes
    from handling_review.history.chunks import Chunk

Progress = Callable[[str, int], None]
Load = Callable[[Program, Store, Progress], Intake]
PAGE = "program-review.html"
WIDE_PAGE = "program-review-wide.html"
_REST = ("handling_review.last_review", "statsmodels.genmod.generalized_linear_model", "handling_review.page.build")
_FORMULA_STARTS = {"=", "+", "-", "@", "\t", "\r", "\n", "|", "＝", "＋", "－", "＠"}


@dataclass(frozen=True)
class Measured:
    """Everything between the files and the page: days, findings, the ledger, and the result tables.

    ``engine``: what added up person-time, with its version; blank for DuckDB.
    """

    days: ReviewDays
    intake: Intake
    findings: tuple[Finding, ...]
    tables: Mapping[str, pd.DataFrame]
    engine: str = ""

    def record(self, program: Program) -> manifest.Record:
        """What the page and the manifest say about this run."""
        return manifest.record(program, self.days, self.tables, self.engine)


@dataclass(frozen=True)
class Built:
    """A finished build: the page, what was found in the data, what to note elsewhere, the wide copy if asked for."""

    page: Path
    findings: tuple[Finding, ...]
    run_id: str
    manifest_sha256: str
    wide_page: Path | None = None


def quiet(_stage: str, _rows: int) -> None:
    """No progress shown."""


@contextmanager
def loading_the_rest() -> Iterator[None]:
    """While the files are read, load what judges and draws in a thread of its own: reading leaves Python alone often.

    Nothing is lost if that fails: the build loads the same things itself, and says what is wrong.
    """
    ended = threading.Event()
    thread = threading.Thread(target=_load_the_rest, args=(ended,))
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def _load_the_rest(ended: threading.Event) -> None:
    with suppress(Exception):
        for module in _REST:
            if ended.is_set():  # a build that is refused does not wait for the rest
                return
            import_module(module)
        from handling_review.page.bundle import plotly_bundle

        plotly_bundle()


def check(program: Program, as_of: date, progress: Progress = quiet) -> tuple[Finding, ...]:
    """Read and cross-check the files of a program; nothing is kept.

    Raises ``DataProblem`` where a file cannot be read at all. Findings come most consequential first.
    """
    engine_of(program)  # says what a build would lack; a check itself adds up with DuckDB
    with tempfile.TemporaryDirectory(prefix="handling-review-") as folder:
        return measured(program, as_of, Path(folder), progress, results=CHECKED).findings


def measured(
    program: Program,
    as_of: date,
    folder: Path,
    progress: Progress = quiet,
    load: Load | None = None,
    notes: Sequence[Finding] = (),
    keys: Pseudonyms | None = None,
    engine: Engine | None = None,
    known: KnownHours | None = None,
    results: Sequence[str] = RESULTS,
) -> Measured:
    """Files to result tables, in a database ``review.duckdb`` inside ``folder``; ``notes`` stand among the findings.

    Where the program asks for pseudonyms and no ``keys`` are given, they are made for this run alone; ``load`` fills
    the database from elsewhere than the files, with ids as they are kept there. ``engine`` adds up person-time: DuckDB
    unless given. ``known``: hours that an earlier review has read, which are taken from its database.
    ``results``: tables to make; a check of the files needs few.
    """
    if program.privacy.pseudonymise and keys is None and load is None:
        keys = pseudonyms.passing()
    source = known.database if known else None
    with Store(folder / "review.duckdb", folder / "spill", source=source) as store:
        intake = load(program, store, progress) if load else load_all(program, store, progress, keys, known)
        progress("checking", 0)
        days = prepare(program, store, as_of)
        findings = [*notes, *intake.findings, *tally_findings(intake)]
        findings += [*fate_findings(store, intake), *run_checks(store, intake, BEFORE_MEASURE)]
        progress("counting hours and cases", 0)
        tables = measure(store, engine, results)
        findings += [
            *run_checks(store, intake, AFTER_MEASURE),
            *reconciliation_findings(intake, tables["reconciliation"]),
        ]
        tables["accounting"] = as_frame(ledger(intake, tables["row_accounting"]))
        tables["findings"] = findings_frame(in_order(findings))
        tables["inputs"] = _inputs(intake)
        store.fill("pseudonyms", [("check_value", "VARCHAR")], [[keys.check_value]] if keys else [])
        store.checkpoint()
    return Measured(days, intake, tuple(in_order(findings)), tables, engine.label if engine else "")


def build(
    program: Program,
    as_of: date,
    out: Path,
    progress: Progress = quiet,
    since: Path | None = None,
    *,
    wide_copy: bool = False,
) -> Built:
    """Build the review into ``out``, and say in it what changed since the last one (``since``: the folder of that).

    With ``wide_copy`` also the page for readers beyond the committee.

    Raises ``DataProblem`` (nothing written, the last good output untouched) where a finding blocks a true review.
    """
    if (out / "system-review.html").exists():
        raise OutputProblem(f"{out}: this is the combined review of several facilities. Choose another with --out.")
    engine = engine_of(program)  # what it lacks is told before anything is read
    keys = _keys(program, out)
    with output_folder(out) as folder:
        before = earlier(program, as_of, out, since)
        known = known_hours(program, before, manifest.versions(), manifest.tool_sha256())
        found = measured(program, as_of, folder, progress, None, before.notes, keys, engine, known)
        digest = write(program, found, folder, before, progress, wide_copy=wide_copy)
    wide = out / WIDE_PAGE if wide_copy else None
    return Built(out / PAGE, found.findings, found.record(program).run_id, digest, wide)


def write(
    program: Program,
    found: Measured,
    folder: Path,
    before: Earlier,
    progress: Progress = quiet,
    changed: Changed | None = None,
    *,
    wide_copy: bool = False,
) -> str:
    """Judge and write a measured review into ``folder``; ``changed``: what it was published with, if built again.

    Returns the SHA-256 of the manifest.
    """
    from handling_review import last_review  # brings all evidence with it, which a check has no use for

    refuse_blocked(found.findings)
    progress("keeping rows", 0)
    record = found.record(program)
    facts = last_review.Facts(
        run_id=record.run_id,
        days=found.days,
        intake=found.intake,
        quarters=found.tables["quarters"],
        unit_quarters=found.tables["unit_quarters"],
        versions=record.versions,
        engine=record.engine,
    )
    with Store(folder / "review.duckdb", folder / "spill") as store:

        def keep_and_compare() -> tuple[tuple[Chunk, ...], Changed]:
            return last_review.keep_and_compare(store, folder, program, before, facts, changed)

        with beside(keep_and_compare, store.interrupt) as keeping:  # judging leaves the store and a processor alone

            def told(published: tuple[Number, ...]) -> Changes:
                if not keeping.is_done:
                    progress("keeping rows", 0)
                return keeping.result()[1](published)

            review = _judged(program, found, progress, told)
            kept, _ = keeping.result()
        last_review.close_book(store, program, before, facts, review, kept)
        keep(store, record)
        store.checkpoint()
    progress("writing", 0)
    write_results(review, found.tables, folder, wide_copy=wide_copy)
    (folder / "review.duckdb").chmod(0o600)
    _remove_spill(folder)
    manifest.write(record, folder, last_review.told(before))
    return manifest.sha256(folder / manifest.NAME)


def write_results(review: Review, tables: Mapping[str, pd.DataFrame], folder: Path, *, wide_copy: bool = False) -> None:
    """Write the page (with ``wide_copy`` both), aggregates, tables and findings into an empty folder."""
    from handling_review.evidence import aggregates
    from handling_review.evidence.export import result_frames
    from handling_review.evidence.tables import ResultTables
    from handling_review.page.build import render

    (folder / PAGE).write_text(render(review), encoding="utf-8", newline="\n")
    if wide_copy:
        (folder / WIDE_PAGE).write_text(_wide_page(tables, review), encoding="utf-8", newline="\n")
    handed_on = aggregates.gather(ResultTables.from_dict(tables), review)
    (folder / aggregates.FILE).write_text(aggregates.as_json(handed_on), encoding="utf-8", newline="\n")
    (folder / aggregates.FILE).chmod(0o600)
    (folder / "tables").mkdir()
    for name, frame in sorted(result_frames(review).items()):
        write_csv(frame, folder / "tables" / f"{name}.csv")
    write_csv(tables["findings"], folder / "findings.csv")


def _wide_page(tables: Mapping[str, pd.DataFrame], review: Review) -> str:
    from handling_review.evidence import wide
    from handling_review.evidence.tables import ResultTables
    from handling_review.page.wide import render_wide

    return render_wide(review, wide.gather(ResultTables.from_dict(tables), review))


def _keys(program: Program, out: Path) -> Pseudonyms | None:
    """The facility's pseudonyms, if it asks for them: those of the review that stands in ``out``, if one does."""
    if not program.privacy.pseudonymise:
        return None
    before = stored_check_value(out / "review.duckdb")
    if before and not pseudonyms.secret_path(program).exists():
        raise ProgramProblem(pseudonyms.lost(program))
    keys = pseudonyms.make_or_keep(program)
    if before and before != keys.check_value:
        raise ProgramProblem(
            f"{out}: the review there was made with another secret than {pseudonyms.secret_path(program).name}. "
            "Put the earlier secret back, or build into a new folder with --out."
        )
    return keys


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


def _judged(program: Program, found: Measured, progress: Progress, changed: Changed | None = None) -> Review:
    from handling_review.evidence.assemble import assemble
    from handling_review.evidence.tables import ResultTables

    refuse_blocked(found.findings)
    progress("judging", 0)
    known = {} if changed is None else {"changed": changed}
    return assemble(ResultTables.from_dict(found.tables), found.record(program).scope(), shown(program), **known)


def shown(program: Program) -> Program:
    """The program with its free texts fit for a page."""
    proposals = tuple(
        replace(one, name=readable(one.name), source=readable(one.source), owner=readable(one.owner))
        for one in program.proposals
    )
    return replace(program, money=replace(program.money, owner=readable(program.money.owner)), proposals=proposals)


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


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    """Write a result table; text that a spreadsheet would run as a formula gets a leading apostrophe."""
    safe = frame.copy()
    for name in safe.columns:
        if pd.api.types.is_string_dtype(safe[name]) or safe[name].dtype == object:
            safe[name] = safe[name].map(formula_safe)
    safe.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


def formula_safe(value: Any) -> Any:
    """The value without signs that cannot be seen, and with an apostrophe if a spreadsheet would run it as a formula.

    The signs go first: a formula that begins behind one would begin the cell once a program has dropped it. A carriage
    return alone is not quoted by pandas and would start a row of its own, so line ends are all of one kind.
    """
    if not isinstance(value, str):
        return value
    text = printable(value).replace("\r\n", "\n").replace("\r", "\n")
    return f"'{text}" if text.lstrip(" \u00a0")[:1] in _FORMULA_STARTS else text


def _remove_spill(folder: Path) -> None:
    spill = folder / "spill"
    if spill.exists():
        for left in spill.iterdir():
            left.unlink()
        spill.rmdir()
