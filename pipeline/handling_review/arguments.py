"""All commands and options of the command line."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path
from typing import Any, TypeAlias

from handling_review.visible import printable

_DESCRIPTION = (
    "From a care facility's injury log, hours worked and training dates to one safe-handling program review: "
    "injury rates per 200,000 hours, before and after training, with intervals."
)
_EPILOG = (
    "Exit codes: 0 done; 1 check found something worth a look, or verify something that does not agree; 2 wrong usage; "
    "3 program file; 4 blocked by the data; 5 output folder; 70 fault of this program. "
    "The review shows recorded injuries; it is no instruction for care."
)


class _Parser(argparse.ArgumentParser):
    """A parser that quotes an argument only as far as it can be printed."""

    def _print_message(self, message: str, file: Any = None) -> None:
        super()._print_message(printable(message), file)


_Commands: TypeAlias = "argparse._SubParsersAction[_Parser]"


def parser() -> argparse.ArgumentParser:
    """All commands and options, in the order in which a newcomer meets them."""
    top = _Parser(prog="handling-review", description=_DESCRIPTION, epilog=_EPILOG)
    top.add_argument("--version", action="store_true", help="print the version and stop")
    commands = top.add_subparsers(dest="command", metavar="COMMAND")
    for add in (
        _add_demo,
        _add_new,
        _add_check,
        _add_build,
        _add_forget,
        _add_budget,
        _add_worklist,
        _add_trace,
        _add_verify,
        _add_combine,
    ):
        add(commands)
    return top


def _add_demo(commands: _Commands) -> None:
    demo = commands.add_parser("demo", help="build the review of a made-up facility")
    demo.add_argument(
        "folder", nargs="?", type=Path, default=Path("demo-review"), help="where to (default: demo-review)"
    )


def _add_new(commands: _Commands) -> None:
    new = commands.add_parser("new", help="write a program file, blank CSV files and the data dictionary")
    new.add_argument("folder", type=Path, help="a folder that does not exist yet, or an empty one")
    new.add_argument(
        "--from", dest="exports", type=Path, metavar="EXPORTS", help="propose a mapping for the files there"
    )


def _add_check(commands: _Commands) -> None:
    check = commands.add_parser("check", help="read and check the files; build nothing")
    check.add_argument("program", type=Path, help="the program file (TOML)")
    check.add_argument("--as-of", type=_day, metavar="DATE", help="day the exports were taken (default: program file)")
    check.add_argument("--findings", type=Path, metavar="FILE", help="also write the findings to this CSV file")
    _add_progress(check)


def _add_build(commands: _Commands) -> None:
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


def _add_forget(commands: _Commands) -> None:
    forget = commands.add_parser("forget", help="take one person out of a review folder and all it has kept")
    forget.add_argument("folder", type=Path, help="the review folder")
    forget.add_argument(
        "--id-file", type=Path, metavar="FILE", help="file with the employee id (default: read from standard input)"
    )
    forget.add_argument(
        "--secret-file", type=Path, metavar="FILE", help="the facility's secret, if the review holds pseudonyms"
    )
    forget.add_argument("--reason", required=True, metavar="TEXT", help="why, for the log; must not name the person")


def _add_budget(commands: _Commands) -> None:
    budget = commands.add_parser("budget", help="print the budget case, with other figures if you like")
    budget.add_argument("program", type=Path, help="the program file (TOML)")
    budget.add_argument("--as-of", type=_day, metavar="DATE", help="day the exports were taken (default: program file)")
    budget.add_argument(
        "--set", dest="changed", action="append", default=[], metavar="KEY=VALUE",
        help="another figure for this run, such as money.cost_base=9000 or proposals.1.quantity=4; may be repeated",
    )  # fmt: skip


def _add_worklist(commands: _Commands) -> None:
    worklist = commands.add_parser("worklist", help="list the people whose training is due, for your eyes only")
    worklist.add_argument("program", type=Path, help="the program file (TOML)")
    worklist.add_argument(
        "--as-of", type=_day, metavar="DATE", help="day the exports were taken (default: program file)"
    )
    worklist.add_argument("--out", type=Path, metavar="FILE", help="output file (default: ./worklist-DATE.csv)")
    worklist.add_argument(
        "--within", type=_months, metavar="MONTHS", default=3, help="due within so many months (default: 3)"
    )


def _add_trace(commands: _Commands) -> None:
    trace = commands.add_parser("trace", help="show where a published number comes from: formula, rows, rules, query")
    trace.add_argument("out", type=Path, metavar="OUT", help="the output folder of a review, or of combine")
    trace.add_argument(
        "key", nargs="?", metavar="KEY", help="the number's key, as tables/numbers.csv and --list name it"
    )
    trace.add_argument(
        "--list", nargs="*", dest="listed", metavar="TEXT", help="list the keys that hold TEXT (all of several words)"
    )


def _add_progress(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--progress", action="store_true", help="say on the error output how far it is, even if that is no terminal"
    )


def _add_verify(commands: _Commands) -> None:
    verify = commands.add_parser("verify", help="is a review still what was built? works everything out again")
    verify.add_argument("out", type=Path, metavar="OUT", help="the output folder of a build (not of combine)")
    verify.add_argument(
        "--inputs", type=Path, metavar="PATH", help="also hold the inputs against it: their folder, or the program file"
    )


def _add_combine(commands: _Commands) -> None:
    combine = commands.add_parser("combine", help="review several facilities from what each handed on")
    combine.add_argument(
        "paths",
        nargs="+",
        type=Path,
        metavar="OUT",
        help="output folders of build, facility-aggregates.json files, or a folder of such files",
    )
    combine.add_argument(
        "--out",
        type=Path,
        default=Path("system-review"),
        metavar="DIR",
        help="output folder, never that of a facility's review",
    )
    combine.add_argument("--name", default="All facilities", help="what the facilities together are called")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date such as 2026-06-30") from None


def _months(text: str) -> int:
    if not (text.isascii() and text.isdigit()) or not 0 <= int(text) <= 120:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number of months from 0 to 120")
    return int(text)
