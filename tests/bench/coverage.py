"""How often do the before/after intervals hold the true ratio? ``python tests/bench/coverage.py``

Each simulated facility is of the sample's kind, with its own seed. Its true ratio is the one a plain comparison
estimates: expected rate after over expected rate before, given the hours it worked. Prints a Markdown table.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np

from handling_review.simulate import Plan, simulate
from handling_review.stats import proportions, ratios

SERIES = ("handling", "non_handling")
METHODS = ("mid_p", "exact")


def facility_counts(seed: int, staff: int) -> list[tuple[float, float, float, float, float, float, float]]:
    """By series: events and hours after, events and hours before, true ratio, expected events after and before."""
    truth = simulate(Plan(seed=seed, staff=staff, mess=False), hours_table=False).truth["series"]
    found = []
    for series in SERIES:
        after, before = (truth[series]["phases"][phase] for phase in ("after", "before"))
        found.append(
            (
                after["events"],
                after["hours"],
                before["events"],
                before["hours"],
                truth[series]["after_to_before_ratio"],
                after["expected_events"],
                before["expected_events"],
            )
        )
    return found


def table(counts: np.ndarray, confidence: float) -> list[str]:
    """Markdown rows; ``counts`` of shape (facilities, series, 7) as ``facility_counts`` gives them."""
    lines = [
        "| series | interval | mean expected before, after | mean true ratio | mean estimate / true | "
        "mean log(estimate / true) | held the true ratio | range for chance | true below it | true above it | "
        "interval wholly below 1 |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for place, series in enumerate(SERIES):
        events1, hours1, events0, hours0, true, expected1, expected0 = counts[:, place].T
        for method in METHODS:
            found = ratios.rate_ratio(events1, hours1, events0, hours0, confidence=confidence, method=method)
            below, above = true < found.lower, true > found.upper
            held = ~(below | above)
            chance = proportions.wilson(int(held.sum()), len(held), confidence=0.95)
            usable = (events1 > 0) & (events0 > 0)
            error = found.estimate[usable] / true[usable]
            cells = (
                series,
                method,
                f"{expected0.mean():.1f}, {expected1.mean():.1f}",
                f"{true.mean():.3f}",
                f"{error.mean():.3f}",
                f"{np.log(error).mean():+.3f}",
                f"{held.mean():.2%}",
                f"{chance.lower:.2%} to {chance.upper:.2%}",
                f"{below.mean():.2%}",
                f"{above.mean():.2%}",
                f"{(found.upper < 1).mean():.1%}",
            )
            lines.append("| " + " | ".join(cells) + " |")
        empty = int(((events1 == 0) | (events0 == 0)).sum())
        if empty:
            lines.append(f"| {series} | {empty} facilities had no case in a phase: left out of the two means only |")
    return lines


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--facilities", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1, help="seed of the first facility; the others count on")
    parser.add_argument("--staff", type=int, default=Plan.staff)
    parser.add_argument("--confidence", type=float, default=0.95)
    given = parser.parse_args()
    seeds = range(given.seed, given.seed + given.facilities)
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        counted = pool.map(partial(facility_counts, staff=given.staff), seeds, chunksize=25)
        counts = np.array(list(counted), dtype=float)
    print("# Before and after: do the intervals hold the true ratio?\n")
    print(
        f"{given.facilities:,} made-up facilities, seeds {seeds[0]} to {seeds[-1]}, {given.staff} posts each, "
        f"{given.confidence:.0%} intervals.\n"
    )
    options = " ".join(sys.argv[1:])
    print(f"Made by `python tests/bench/coverage.py{' ' + options if options else ''}`.\n")
    print("\n".join(table(counts, given.confidence)))
    print(
        "\nThe true ratio of a facility is its expected rate after over its expected rate before, given the hours "
        "worked:\nit holds the effect of training, the yearly fall and any change in who works where. The range for "
        "chance is Wilson's\n95 % interval for the share. The mean of estimate / true lies above 1 because an estimate "
        "is divided by a small\ncount; on the log scale halving and doubling weigh the same."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
