"""How do the designs do when the truth is known? ``python tests/bench/designs.py``

Every design of the ladder is asked about made-up facilities (``design_facilities.py``) in which the program does what
the scenario says. Writes DESIGNS.md beside this file and, for the review to print from, reports/design_study.csv.
With ``--facilities`` or ``--scenario`` it prints its tables and writes nothing.
"""

from __future__ import annotations

import argparse
import csv
import multiprocessing
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np
from design_facilities import SCENARIOS, Scenario, facility

from handling_review.evidence import designs
from handling_review.evidence.ladder import verdict_of
from handling_review.evidence.panel import BEFORE_AFTER, LADDER, Array, Designed
from handling_review.stats import proportions

HERE = Path(__file__).parent
SHIPPED = HERE.parents[1] / "reports" / "design_study.csv"
TABLE = HERE / "DESIGNS.md"
FACILITIES = 2000
CHOSEN, PLAIN = "chosen", "plain"
ROWS = (*LADDER, CHOSEN, PLAIN)
ERRORS = ("median_log_error", "sd_log_error", "median_expected_error")

INTRO = """# The designs held against a known truth

Written by `python tests/bench/designs.py` (about seven minutes on two cores); the same figures are shipped as
`reports/design_study.csv`, from which a review prints how often its own design says “lower” for nothing.

**What was simulated.** 2,000 facilities a scenario, each with its own seed: eight units of 14 to 30 posts, 14 quarters,
9 handling and 7 other injuries per 200,000 hours before any program (some 40 handling injuries in all). The units' own
rates differ. 6 % of posts change hands in a quarter. New staff are hurt half again as often in their first half year
(3.5 times is published: Gardner 1999) and are trained two to five weeks after they come; 8 % are never trained. Units
start one a quarter from the fifth quarter on, or all together in the seventh. The ratio of a program acts from a
person's training on. Anything else is in the scenario's name. “Four times the staff” is the same facility with four
times the posts.

**The rows.** The seven designs of the ladder; `chosen` is the one that the review leads with by its own rule; `plain`
is before and after read without allowing for a general fall.

**The columns.** `middle error` is the median of log(estimate / truth): 0 is on target, -0.69 is half the truth.
`spread of it` is the standard deviation from the quartiles (– if a quarter or more have no case on one side); it should
be near `expected error`, which is known before looking at which side the cases fell on. `covers the truth` should be
95 %. `says “lower”` should be 2.5 % where the program did nothing, and is the power where it did something; the range
for chance is Wilson's 95 % interval. The true ratio by the unit's start counts everybody's hours, trained or not.

**What follows for the rule that picks the leading design.**

1. Where rates fall everywhere and nothing else happens, the rule's choice says “lower” for nothing in 1.8 to 2.5 % of
   facilities. Plain before and after does in 4 to 7 %, and in 16 % with four times the staff: more data make it worse.
   Held to a general fall of 4 % a year it still does in 3 to 9 %. It leads only where nothing else can be had.
2. The staggered comparison, the comparison units and the model with a steady yearly change cover the truth in 95 to
   98 % wherever their assumptions hold, also with few cases. Their intervals are widened by the spread of the cases and
   never narrowed, which leaves them a little wide rather than too short. No interval had to be mended.
3. The model with a steady yearly change finds a halving more often than the two stronger designs (11 to 13 % against 6
   to 11 %; with four times the staff 34 to 42 % against 27 to 30 %). But a sudden drop everywhere fools it: 6 %, and
   12 % with four times the staff, where all units start together and none is left to compare with. The review then says
   that nothing stronger was possible. Where there are comparison units, it does so in 4 % and 7 %. The rule takes the
   stronger designs as soon as they could show a fall of four fifths: with few staff the model leads and the choice
   errs in 4 %, with many they lead and it errs in 1.8 %.
4. Of the designs that a general fall does not fool, handling set against other injuries finds a halving most often (15
   to 17 %; 54 to 58 %). A drop, a bad quarter, less reporting, or the worst units starting first do not fool it either.
   What does is handling alone falling for another reason: 8 % with four times the staff. No data of the facility can
   rule that out, so it does not lead. It stands beside the leading design.
5. Trained against not yet trained, within unit and quarter, reads too low because new staff wait for their training
   there. With new staff hurt three times as often it reads a third too low and says “lower” for nothing in 10 %, in
   26 % with four times the staff. It never leads by the rule.
6. The interrupted series takes one start for all. Where units start one after the other it hardly sees an effect (1 %
   power for a halving), and where all start together a sudden drop fools it as it fools the model.
7. Worst units first: the staggered comparison and the model say “lower” for nothing in 7 to 9 %, because the early
   starters fall back by chance. Before and after over all units, and other injuries, do not. The review says so where
   the early starters had the higher rate before.
8. Less reporting of all injuries from the start on fools every design that has the cases to see it, but for the one
   against other injuries. The rule's choice says “lower” for nothing in 7 %, plain before and after in 18 %.
9. The price is power. With some 150 staff a true halving is found in 11 to 13 %, with 600 in 27 to 30 %. A review that
   says “cannot tell” is no sign that the program did nothing.

**What this does not show.** Effects that differ between units, errors in the files, units that start by more than one
kind of need, and other reasons for a change at the very start of the program.
"""


def asked(scenario: Scenario, seed: int) -> list[tuple[float, ...]]:
    """Per row of ``ROWS``: 1 if computable, estimate, lower, upper, truth, expected error, says lower, picked."""
    panel, personal, truth = facility(scenario, seed)
    found = designs.all_designs(panel, personal, 0.95)
    lead = designs.choose_primary(found)
    lines = []
    for name in ROWS:
        item = found[lead if name == CHOSEN else BEFORE_AFTER if name == PLAIN else name]
        below = 1.0 if name == PLAIN else designs.background_ratio(item.design, personal.years_apart)
        lines.append(_line(item, below, truth, picked=name == lead))
    return lines


def _line(item: Designed, below: float, truth: dict[str, float], *, picked: bool) -> tuple[float, ...]:
    true = truth["person" if item.design in designs.BY_PERSON else "unit"]
    lower = verdict_of(item, below) == "lower"
    return (not item.reason, item.estimate, item.lower, item.upper, true, item.expected_error, lower, picked)


def many(scenario: Scenario, seeds: Sequence[int]) -> Array:
    """Shape (facilities, rows, 8)."""
    return np.array([asked(scenario, seed) for seed in seeds], dtype=float)


def simulated(scenario: Scenario, facilities: int, pool: ProcessPoolExecutor) -> Array:
    """All facilities of a scenario, each with its own seed, shape as ``many``."""
    first = 1_000_000 * (SCENARIOS.index(scenario) + 1)
    parts = [range(first + i, first + min(i + 50, facilities)) for i in range(0, facilities, 50)]
    return np.concatenate(list(pool.map(partial(many, scenario), parts)))


def summary(scenario: Scenario, found: Array) -> list[dict[str, str]]:
    """One row a design, ready for the csv."""
    rows = []
    for place, name in enumerate(ROWS):
        computed, estimate, lower, upper, true, error, says, picked = found[:, place].T
        had = computed == 1
        with np.errstate(divide="ignore"):  # no case on one side: a log of plus or minus infinity, which a middle bears
            logs = np.log(estimate[had] / true[had])
        logs = logs[~np.isnan(logs)]
        inside = (lower[had] <= true[had]) & (true[had] <= upper[had])
        rows.append(
            {
                "scenario": scenario.name,
                "design": name,
                "facilities": str(len(found)),
                "effect": f"{scenario.effect:g}",
                "yearly_change": f"{scenario.yearly_change:g}",
                "true_ratio": f"{np.nanmean(true):.4f}",
                "computed": f"{had.mean():.4f}",
                "picked": f"{picked.mean():.4f}",
                "median_log_error": _written(np.quantile(logs, 0.5, method="nearest") if logs.size else np.nan),
                "sd_log_error": _written(_spread(logs)),
                "median_expected_error": _written(np.median(error[had]) if had.any() else np.nan),
                "coverage": _written(inside.mean() if had.any() else np.nan),
                "says_lower": f"{says.mean():.4f}",
            }
        )
    return rows


def _spread(logs: Array) -> float:
    """Standard deviation from the quartiles, which runaway fits do not move; ``nan`` if one of them is infinite."""
    if not logs.size:
        return np.nan
    low, high = np.quantile(logs, [0.25, 0.75], method="nearest")
    return float((high - low) / 1.349) if np.isfinite([low, high]).all() else np.nan


def _written(value: float) -> str:
    return f"{value:.4f}" if np.isfinite(value) else ""


def markdown(rows: list[dict[str, str]]) -> str:
    """The overview over all scenarios, then one table a scenario."""
    names = list(dict.fromkeys(row["scenario"] for row in rows))
    effects = {row["scenario"]: float(row["effect"]) for row in rows}
    lines: list[str] = []
    for title, wanted in (
        ("Says “lower” where the program did nothing", [name for name in names if effects[name] == 1]),
        ("Says “lower” where the program did something", [name for name in names if effects[name] != 1]),
    ):
        lines += ["", f"## {title}", "", *_overview(rows, wanted)]
    for name in names:
        lines += ["", f"## {name[0].upper()}{name[1:]}", "", *_one(rows, name)]
    return "\n".join(lines) + "\n"


def _overview(rows: list[dict[str, str]], names: list[str]) -> list[str]:
    says = {(row["scenario"], row["design"]): row for row in rows}
    lines = ["| scenario | " + " | ".join(ROWS) + " |", "|---" * (len(ROWS) + 1) + "|"]
    for name in names:
        cells = []
        for design in ROWS:
            row = says[name, design]
            cells.append(f"{float(row['says_lower']):.1%}" if float(row["computed"]) else "–")
        lines.append("| " + " | ".join((name, *cells)) + " |")
    return lines


def _one(rows: list[dict[str, str]], name: str) -> list[str]:
    mine = {row["design"]: row for row in rows if row["scenario"] == name}
    by_person, by_unit = (float(mine[design]["true_ratio"]) for design in (BEFORE_AFTER, "staggered"))
    lines = [
        f"True ratio by person {by_person:.2f}, by unit {by_unit:.2f}.",
        "",
        "| design | computed | picked | middle error | spread of it | expected error | covers the truth | "
        "says “lower” (range for chance) |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for row in mine.values():
        n = int(row["facilities"])
        chance = proportions.wilson(round(float(row["says_lower"]) * n), n, confidence=0.95)
        figures = [f"{round(float(row[column]), 2) + 0:.2f}" if row[column] else "–" for column in ERRORS]
        cover = f"{float(row['coverage']):.1%}" if row["coverage"] else "–"
        says = f"{float(row['says_lower']):.1%} ({chance.lower:.1%} to {chance.upper:.1%})"
        cells = (f"{float(row['computed']):.0%}", f"{float(row['picked']):.0%}", *figures, cover)
        lines.append("| " + " | ".join((row["design"], *cells, says if float(row["computed"]) else "–")) + " |")
    return lines


def main() -> int:
    """Runs the study; prints a part of it, or writes the whole."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--facilities", type=int, default=FACILITIES, help="per scenario")
    parser.add_argument("--scenario", type=int, action="append", help="number from 1 on; all if not given")
    given = parser.parse_args()
    numbers = given.scenario or range(1, len(SCENARIOS) + 1)
    rows: list[dict[str, str]] = []
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        for number in numbers:
            scenario = SCENARIOS[number - 1]
            rows += summary(scenario, simulated(scenario, given.facilities, pool))
            print(f"{number}: {scenario.name}", file=sys.stderr)
    if given.scenario or given.facilities != FACILITIES:
        print(markdown(rows))
        return 0
    with SHIPPED.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    TABLE.write_text(INTRO + markdown(rows), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
