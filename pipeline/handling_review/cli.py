"""Arguments in, exit code out, nothing else. Heavy imports wait until a command runs."""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import traceback
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from handling_review import lean
from handling_review.arguments import parser
from handling_review.problems import EXIT_DONE, EXIT_FINDINGS, ReviewProblem, UsageProblem
from handling_review.progress import Meter
from handling_review.stopping import Stop, stoppable
from handling_review.visible import printable

if TYPE_CHECKING:
    from handling_review.findings import Finding


def say(text: str, *, error: bool = False) -> None:
    """Print for a person; what comes from a file, a setting or an argument can give the terminal no command."""
    print(printable(text), file=sys.stderr if error else sys.stdout)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code. Problems are sentences on stderr, never a traceback."""
    lean.settle()
    with stoppable() as stop:
        code = _guarded(arguments, stop)
    return code


def _guarded(arguments: Sequence[str] | None, stop: Stop) -> int:
    try:
        return _run(parser().parse_args(arguments))
    except ReviewProblem as problem:
        if stop.number:
            return _stopped(stop)
        if problem.exit_code == ReviewProblem.exit_code:
            return _apologise(problem)
        say(f"handling-review: {problem}", error=True)
        return problem.exit_code
    except KeyboardInterrupt:
        return _stopped(stop)
    except BrokenPipeError:
        return _closed_pipe()
    except SystemExit:
        raise
    except BaseException as fault:  # a library may make an error of its own of being stopped; a panic is no Exception
        return _stopped(stop) if stop.number else _apologise(fault)


def _stopped(stop: Stop) -> int:
    say("handling-review: stopped; the last finished review is whole.", error=True)
    return stop.exit_code


def _run(asked: argparse.Namespace) -> int:
    if asked.version:
        from handling_review import __version__

        say(f"handling-review {__version__}")
        return EXIT_DONE
    if asked.command is None:
        raise UsageProblem("no command given. Try: handling-review demo, or handling-review --help")
    commands: dict[str, Callable[[argparse.Namespace], int]] = {
        "demo": _demo,
        "new": _new,
        "check": _check,
        "build": _build,
        "budget": _budget,
        "worklist": _worklist,
        "forget": _forget,
        "verify": _verify,
        "trace": _trace,
        "combine": _combine,
    }
    return commands[asked.command](asked)


def _trace(asked: argparse.Namespace) -> int:
    if (asked.key is None) == (asked.listed is None):
        raise UsageProblem("trace: give one KEY, or --list to see the keys, for example --list 2025-Q3")
    from handling_review.trace import show

    print(show.listing(asked.out, " ".join(asked.listed)) if asked.key is None else show.one(asked.out, asked.key))
    return EXIT_DONE


def _demo(asked: argparse.Namespace) -> int:
    from handling_review import starter

    with tempfile.TemporaryDirectory(prefix="handling-review-") as folder:
        program = starter.copy_sample(Path(folder) / "sample")
        return _built(program, None, asked.folder)


def _new(asked: argparse.Namespace) -> int:
    from handling_review import starter

    for path in starter.write_new(asked.folder, asked.exports):
        say(str(path))
    if asked.exports:
        say("Next: settle the lines marked CHECK in program.toml, then run")
    else:
        say(f"Next: put your exports in {asked.folder}, fill in program.toml, then run")
    say(f"  handling-review check {asked.folder / 'program.toml'}")
    return EXIT_DONE


def _check(asked: argparse.Namespace) -> int:
    from handling_review import review
    from handling_review.findings import blocking
    from handling_review.problems import DataProblem
    from handling_review.program import read_program

    program = read_program(asked.program)
    with Meter(lines=asked.progress) as progress:
        findings = review.check(program, asked.as_of or program.review.as_of or date.today(), progress)
    _print_findings(findings)
    if asked.findings:
        review.write_findings(findings, asked.findings)
    if blocking(findings):
        return DataProblem.exit_code
    return EXIT_FINDINGS if any(f.severity == "look" for f in findings) else EXIT_DONE


def _build(asked: argparse.Namespace) -> int:
    if asked.store is not None:
        return _rebuilt(asked)
    if asked.program is None:
        raise UsageProblem("build needs a program file, or --from-store DIR to build an earlier review again.")
    return _built(asked.program, asked.as_of, asked.out, asked.since, wide_copy=asked.wide_copy, lines=asked.progress)


def _built(
    program_file: Path,
    as_of: date | None,
    out: Path | None,
    since: Path | None = None,
    *,
    wide_copy: bool = False,
    lines: bool = False,
) -> int:
    from handling_review import review
    from handling_review.program import read_program

    program = read_program(program_file)
    day = as_of or program.review.as_of or date.today()
    target = out or Path(f"review-{day.isoformat()}")
    with Meter(lines=lines) as progress, review.loading_the_rest():
        built = review.build(program, day, target, progress, since, wide_copy=wide_copy)
    _print_findings(built.findings)
    say(f"Run {built.run_id}, SHA-256 of manifest.json {built.manifest_sha256}")
    say(f"Review: {built.page}")
    if built.wide_page:
        say(f"For readers beyond the committee: {built.wide_page}")
    return EXIT_DONE


def _rebuilt(asked: argparse.Namespace) -> int:
    from handling_review import rebuild

    if asked.program is not None or asked.since is not None:
        raise UsageProblem("--from-store uses the settings kept with that review: leave PROGRAM and --since out.")
    with Meter(lines=asked.progress) as progress:
        found = rebuild.rebuild(asked.store, asked.as_of, asked.out, progress)
    _print_findings(found.built.findings)
    for proviso in found.provisos:
        print(proviso)
    print(f"Review: {found.built.page}")
    return EXIT_DONE


def _forget(asked: argparse.Namespace) -> int:
    from handling_review import forget

    done = forget.forget(asked.folder, forget.read_id(asked.id_file), asked.reason, asked.secret_file)
    print("\n".join(done.sentences()))
    return EXIT_DONE


def _budget(asked: argparse.Namespace) -> int:
    from handling_review import review
    from handling_review.page.plain_text import budget_case
    from handling_review.program import read_program

    program = read_program(asked.program, asked.changed)
    with Meter() as progress:
        found = review.examine(program, asked.as_of or program.review.as_of or date.today(), progress)
    for line in asked.changed:
        say(f"With {line} (the program file and the last review are untouched)")
    say(budget_case(found))
    return EXIT_DONE


def _worklist(asked: argparse.Namespace) -> int:
    from handling_review import worklist
    from handling_review.program import read_program

    program = read_program(asked.program)
    day = asked.as_of or program.review.as_of or date.today()
    out = asked.out or Path(f"worklist-{day.isoformat()}.csv")
    with Meter() as progress:
        written = worklist.write(program, day, out, asked.within, progress)
    people, apart = written.people, written.in_comparison_units
    say(
        f"Worklist: {out} (mode {worklist.MODE:04o}, readable by you alone): {people['overdue']} overdue, "
        f"{people['never_trained']} never trained, {people['due']} due within {_counted(asked.within, 'month')}, "
        f"{people['not_known']} not known. Not listed: {apart} in comparison units, and whoever worked the "
        f"{_counted(written.rows_without_id, 'row')} of recent hours without an employee id. "
        "Keep this list to those who schedule training."
    )
    return EXIT_DONE


def _verify(asked: argparse.Namespace) -> int:
    from handling_review import verify

    with Meter() as progress:
        found = verify.verify(asked.out, asked.inputs, progress)
    say("\n".join(verify.sentences(found)))
    return EXIT_FINDINGS if found.troubles else EXIT_DONE


def _combine(asked: argparse.Namespace) -> int:
    from handling_review.combine.build import combine

    combined = combine(asked.paths, asked.out, asked.name)
    say(f"Facilities: {len(combined.found.facilities)}")
    say(f"Review: {combined.page}")
    return EXIT_DONE


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _print_findings(findings: Sequence[Finding]) -> None:
    from handling_review.findings import suggestions

    titles = {"blocks": "Blocks the review", "look": "Worth a look", "note": "For the record"}
    for severity, title in titles.items():
        chosen = [f for f in findings if f.severity == severity]
        if chosen:
            say(f"{title} ({len(chosen)}):")
            for finding in chosen:
                say(f"  {finding.sentence()}")
    ready = suggestions(findings)
    if ready:
        say("To settle some of these, fill in and paste into the program file:")
        say("\n".join(f"  {line}" for line in ready.splitlines()))
    if not findings:
        say("Nothing found that needs a look.")


def _apologise(fault: BaseException) -> int:
    """One line for the user; where it happened goes to a private log, without values."""
    log = Path(tempfile.gettempdir()) / f"handling-review-fault-{os.getpid()}.log"
    frames = "".join(traceback.format_tb(fault.__traceback__))
    try:
        handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            out.write(f"{type(fault).__module__}.{type(fault).__qualname__}\n{frames}")
        where = f"Where it happened: {log}"
    except OSError:
        where = "No log could be written."
    say(f"handling-review: sorry, a fault of this program ({type(fault).__name__}). {where}", error=True)
    return ReviewProblem.exit_code


def _closed_pipe() -> int:
    """The reader of our output has gone; say no more."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return EXIT_DONE


if __name__ == "__main__":
    sys.exit(main())
