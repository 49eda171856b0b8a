"""How often page one says that something stands out: with nothing changing, and when one unit's rate has doubled.

    python tests/bench/stands_out.py [FACILITIES]

Facilities of five units with a known steady rate, four years of months (tests/whole/steady_facility.py); in one kind
the rate of one unit doubles in the last two quarters, in one it halves. Writes STANDS_OUT.md beside this file.
"""

from __future__ import annotations

import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from functools import partial
from itertools import product
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from handling_review import review  # the tests folder goes on the path first
from handling_review.evidence import rates, units, watch
from handling_review.evidence.control import FEWER, MORE
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tables import ResultTables
from handling_review.program import read_program
from whole import steady_facility

FACILITIES = 100
SIZES = (2.0, 4.0, 8.0)  # cases expected a quarter in each unit
CHANGES = (("nothing changes", 1.0), ("unit 3 doubles", 2.0), ("unit 3 halves", 0.5))
SAYS = (
    "anything",
    "chart of the facility",
    "warning of the facility",
    "warning of a unit",
    "unit against the others",
    "names unit 3",
    "names another unit",
    "chart of a unit, not on page one",
    "chart of unit 3 says fewer, not on page one",
)  # fmt: skip


def said(program_file: Path) -> dict[str, bool]:
    """What page one would say of one facility."""
    program = read_program(program_file)
    with tempfile.TemporaryDirectory() as folder:
        found = review.measured(program, date(2026, 6, 30), Path(folder)).tables
    tables = ResultTables.from_dict(found)
    rate = rates.gather(tables, program)
    complete = rate.complete()
    charts = watch.gather(tables, rate, Strata(tables, complete), units.unit_names(tables), program)
    differing = units.gather(tables, complete, program).standing_out()
    more = {*charts.units_warned(), *(unit.name for unit in differing if unit.stands_out == "higher")}
    return {
        "anything": charts.stands_out() or bool(differing),
        "chart of the facility": bool(charts.facility.now()),
        "warning of the facility": bool(charts.warning.now),
        "chart of a unit, not on page one": bool(charts.units_now(MORE) or charts.units_now(FEWER)),
        "warning of a unit": bool(charts.units_warned()),
        "unit against the others": bool(differing),
        "names unit 3": "Unit 3" in more,
        "names another unit": bool(more - {"Unit 3"}),
        "chart of unit 3 says fewer, not on page one": "Unit 3" in charts.units_now(FEWER),
    }


def asked(seed: int, size: float, times: float) -> dict[str, bool]:
    """One facility drawn, and what is said of it."""
    with tempfile.TemporaryDirectory() as folder:
        program = steady_facility.write(
            Path(folder) / "files",
            seed,
            changed="" if times == 1 else "Unit 3",
            times=times,
            rate_per_200k=size / 3 * 10,
        )
        return said(program)


def main(facilities: int) -> None:
    """Run all kinds and sizes and write the table."""
    lines = [
        "# What page one says when nothing changes, and when one unit does",
        "",
        f"{facilities} made-up facilities a row: five units, 48 months, cases Poisson, one known rate. In two kinds",
        "the rate of unit 3 doubles, or halves, in the last two quarters. Share of facilities whose page one speaks,",
        "and by what. Regenerate: `python tests/bench/stands_out.py` (some ten minutes on two cores).",
        "",
        "| what happens | cases a quarter in each unit | " + " | ".join(SAYS) + " |",
        "|---|---:|" + "---:|" * len(SAYS),
    ]
    with ProcessPoolExecutor(max_workers=2) as pool:
        for (name, times), size in product(CHANGES, SIZES):
            found = list(pool.map(partial(asked, size=size, times=times), range(facilities)))
            shares = " | ".join(f"{100 * sum(one[key] for one in found) / facilities:.1f} %" for key in SAYS)
            lines.append(f"| {name} | {size:g} | {shares} |")
            print(lines[-1], flush=True)
    (Path(__file__).parent / "STANDS_OUT.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else FACILITIES)
