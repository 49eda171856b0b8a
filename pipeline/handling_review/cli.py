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
from typing import TYPE_CHECKING, Any

from handling_review.problems import EXIT_DONE, EXIT_FINDINGS, ReviewProblem, UsageProblem
from handling_review.progress import Meter
from handling_review.stopping import Stop, stoppable
from handling_review.visible import printable

if TYPE_CHECKING:
    from handling_review.findings import Finding

_DESCRIPTION = (
    "From a care facility's injury log, hours worked and training dates to one safe-handling program review: "
    "injury rates per 200,000 hours, before and after training, with intervals."
)
_EPILOG = (
    "Exit codes: 0 done; 1 check found something worth a look, or verify something that does not agree; 2 wrong usage; "
    "3 program file; 4 blocked by the data; 5 output folder; 70 fault of this program. "
    "The review shows recorded injuries; it is no instruction for care."
)


def say(text: str, *, error: bool = False) -> None:
    """Print for a person; what comes from a file, a setting or an argument can give the terminal no command."""
    print(printable(text), file=sys.stderr if error else sys.stdout)


class _Parser(argparse.ArgumentParser):
    """A parser that quotes an argument only as far as it can be printed."""

    def _print_message(self, message: str, file: Any = None) -> None:
        super()._print_message(printable(message), file)


def parser() -> argparse.ArgumentParser:
    """All commands and options."""
    top = _Parser(prog="handling-review", description=_DESCRIPTION, epilog=_EPILOG)
    top.add_argument("--version", action="store_true", help="print the version and stop")
    commands = top.add_subparsers(dest="command", metavar="COMMAND")

    demo = commands.add_parser("demo", help="build the review of a made-up facility")
    demo.add_argument(
        "folder", nargs="?", type=Path, default=Path("demo-review"), help="where to (default: demo-review)"
    )

    new = commands.add_parser("new", help="write a program file, blank CSV files and the data dictionary")
    new.add_argument("folder", type=Path, help="a folder that does not exist yet, or an empty one")
    new.add_argument(
        "--from", dest="exports", type=Path, metavar="EXPORTS", help="propose a mapping for the files there"
    )

    check = commands.add_parser("check", help="read and check the files; build nothing")
    check.add_argument("program", type=Path, help="the program file (TOML)")
    check.add_argument("--as-of", type=_day, metavar="DATE", help="day the exports were taken (default: program file)")
    check.add_argument("--findings", type=Path, metavar="FILE", help="also write the findings to this CSV file")
    _add_progress(check)

    build = commands.add_parser("build", help="build the review")
    build.add_argument("program", type=Path, nargs="?", help="the program file (TOML)")
    build.add_argument("--as-of", type=_day, metavar="DATE", help="day the exports were taken (default: program file)")
    build.add_argument("--out", type=Path, metavar="DIR", help="output folder (default: ./review-DATE)")
    build.add_argument(
        "--since", type=Path, metavar="DIR", help="the last review (default: in the output folder, else beside it)"
    )
    build.add_argument(
        "--from-store", dest="store", type=Path, metavar="DIR",
        help="instead of PROGRAM: build the review of --as-of again from what this review folder has kept",
    )  # fmt: skip
    build.add_argument(
        "--wide-copy",
        action="store_true",
        help="also write a page for readers beyond the committee, small counts hidden",
    )
    _add_progress(build)

    forget = commands.add_parser("forget", help="take one person out of a review folder and all it has kept")
    forget.add_argument("folder", type=Path, help="the review folder")
    forget.add_argument(
        "--id-file", type=Path, metavar="FILE", help="file with the employee id (default: read from standard input)"
    )
    forget.add_argument("--reason", required=True, metavar="TEXT", help="why, for the log; must not name the person")

    budget = commands.add_parser("budget", help="print the budget case, with other figures if you like")
    budget.add_argument("program", type=Path, help="the program file (TOML)")
    budget.add_argument("--as-of", type=_day, metavar="DATE", help="day the exports were taken (default: program file)")
    budget.add_argument(
        "--set", dest="changed", action="append", default=[], metavar="KEY=VALUE",
        help="another figure for this run, such as money.cost_base=9000 or proposals.1.quantity=4; may be repeated",
    )  # fmt: skip

    worklist = commands.add_parser("worklist", help="list the people whose training is due, for your eyes only")
    worklist.add_argument("program", type=Path, help="the program file (TOML)")
    worklist.add_argument(
        "--as-of", type=_day, metavar="DATE", help="day the exports were taken (default: program file)"
    )
    worklist.add_argument("--out", type=Path, metavar="FILE", help="output file (default: ./worklist-DATE.csv)")
    worklist.add_argument(
        "--within", type=_months, metavar="MONTHS", default=3, help="due within so many months (default: 3)"
    )

    trace = commands.add_parser("trace", help="show where a published number comes from: formula, rows, rules, query")
    trace.add_argument("out", type=Path, metavar="OUT", help="the output folder of a review")
    trace.add_argument(
        "key", nargs="?", metavar="KEY", help="the number's key, as tables/numbers.csv and --list name it"
    )
    trace.add_argument(
        "--list", nargs="*", dest="listed", metavar="TEXT", help="list the keys that hold TEXT (all of several words)"
    )
    _add_verify(commands)
    return top


def _add_progress(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--progress", action="store_true", help="say on the error output how far it is, even if that is no terminal"
    )


def _add_verify(commands: argparse._SubParsersAction[_Parser]) -> None:
    verify = commands.add_parser("verify", help="is a review still what was built? works everything out again")
    verify.add_argument("out", type=Path, metavar="OUT", help="the output folder of a build")
    verify.add_argument(
        "--inputs", type=Path, metavar="PATH", help="also hold the inputs against it: their folder, or the program file"
    )


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date such as 2026-06-30") from None


def _months(text: str) -> int:
    if not (text.isascii() and text.isdigit()) or not 0 <= int(text) <= 120:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number of months from 0 to 120")
    return int(text)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code. Problems are sentences on stderr, never a traceback."""
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
    except Exception as fault:  # a library may make an error of its own of being stopped
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
    with Meter(lines=lines) as progress:
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

    done = forget.forget(asked.folder, forget.read_id(asked.id_file), asked.reason)
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
