"""Does any small facility break a review? ``python tests/bench/fuzz_builds.py`` writes FUZZ_BUILDS.md beside itself.

Each case draws a facility (`tests/property/small_facilities.py`), builds its whole review and holds the finished
folder against `tests/property/invariants.py`. A problem told in a sentence is a good end too.
"""

from __future__ import annotations

import os
import re
import sys
from importlib.metadata import version
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from bench.campaign import command
from handling_review import review
from handling_review.problems import DataProblem, ReviewProblem
from handling_review.program import read_program
from property.invariants import broken
from property.small_facilities import draw

RESULT = Path(__file__).with_name("FUZZ_BUILDS.md")


def one_case(seed: int, number: int, folder: Path) -> str:
    """Build one facility; raises where an invariant does not hold."""
    os.fsync = lambda _: None  # a campaign needs no disk; crash safety has tests of its own
    found = draw(seed, number)
    program = read_program(found.write(folder / "in"))
    try:
        review.build(program, found.as_of, folder / "out")
    except DataProblem as problem:
        return f"refused: {_rule(str(problem))}"
    except ReviewProblem as problem:
        raise AssertionError(f"exit code {problem.exit_code}: {problem}") from problem
    wrong = broken(folder / "out")
    if wrong:
        raise AssertionError(f"{len(wrong)} things do not hold: {'; '.join(wrong[:3])}")
    return "built, everything holds"


def _rule(said: str) -> str:
    """A sentence without its file, names and numbers, so that like ones are counted together."""
    plain = re.sub(r"'[^']*'", "(name)", said.split(": ", 1)[-1])
    return re.sub(r"\d[\d,.]*", "(number)", plain).split(". ")[0][:90]


def about(cases: int, seed: int) -> tuple[str, ...]:
    """What was run and what was held."""
    libraries = ", ".join(f"{name} {version(name)}" for name in ("duckdb", "pandas", "polars", "pyarrow", "plotly"))
    return (
        "# Whole builds of small random facilities",
        "",
        f"`python tests/bench/fuzz_builds.py --cases {cases} --seed {seed}`; {libraries}.",
        "",
        "Held of each: rows in = used + set aside + excluded; cases and hours of the units and of the phases add up to "
        "the facility's; lower <= estimate <= upper in every table; no NaN, None or infinity in words or pictures; "
        "every number on the page is the one in `tables/numbers.csv`.",
    )


if __name__ == "__main__":
    command(one_case, result=RESULT, cases=2_000, batch=10, about=about)
