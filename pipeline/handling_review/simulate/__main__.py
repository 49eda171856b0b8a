"""Writes a made-up facility: ``python -m handling_review.simulate FOLDER``."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

from handling_review.problems import EXIT_DONE, ReviewProblem
from handling_review.simulate import Plan, plan_for_rows, simulate, write


def main(arguments: Sequence[str] | None = None) -> int:
    """Write a made-up facility into a folder; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m handling_review.simulate",
        description="Write a made-up care facility with known truth: CSV files, program file and truth.json.",
    )
    parser.add_argument("folder", type=Path, help="folder to write into; made if missing")
    parser.add_argument("--seed", type=int, default=Plan.seed, help="number that decides every draw (%(default)s)")
    parser.add_argument("--staff", type=int, default=Plan.staff, help="posts to fill (%(default)s)")
    parser.add_argument("--quarters", type=int, help="calendar quarters from 2023 on (14)")
    parser.add_argument("--washout-days", type=int, default=Plan.washout_days, help="days (%(default)s)")
    parser.add_argument("--clean", action="store_true", help="without the planted mess")
    parser.add_argument("--shift-rows", type=int, help="hours as so many rows of one shift, staff to match")
    given = parser.parse_args(arguments)
    try:
        plan = Plan(seed=given.seed, staff=given.staff, washout_days=given.washout_days, mess=not given.clean)
        if given.quarters is not None:
            plan = replace(plan, end=_end(plan.start, given.quarters))
        if given.shift_rows is not None:
            plan = plan_for_rows(replace(plan, mess=False), given.shift_rows)
        facility = simulate(plan, hours_table=given.shift_rows is None)
        write(facility, given.folder, shift_rows=given.shift_rows)
    except ReviewProblem as problem:
        print(problem, file=sys.stderr)
        return problem.exit_code
    except OSError as error:
        print(f"{given.folder}: cannot be written ({error.strerror or type(error).__name__}).", file=sys.stderr)
        return 5
    print(f"{given.folder}: made-up facility of {plan.staff:,} posts, {plan.start} to {plan.end}, seed {plan.seed}")
    return EXIT_DONE


def _end(start: date, quarters: int) -> date:
    months = start.month - 1 + 3 * quarters
    return date(start.year + months // 12, months % 12 + 1, 1) - timedelta(days=1)


if __name__ == "__main__":
    sys.exit(main())
