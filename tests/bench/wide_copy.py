"""Attacks on the wide copy of drawn facilities: ``python tests/bench/wide_copy.py [FACILITIES]`` writes WIDE_COPY.md.

Each facility (tests/whole/wide_facilities.py) is attacked twice: as it is published, and with only the small counts
hidden. The attacker (tests/whole/wide_attack.py) reads the finished HTML and nothing else.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from importlib.metadata import version
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from spec import made_up_tables as made_up  # the tests folder goes on the path first
from whole.wide_campaign import Tried, attacked

FACILITIES = 200
RESULT = Path(__file__).with_name("WIDE_COPY.md")


def both(seed: int) -> tuple[Tried, Tried, float]:
    """The published page, the page with only small counts hidden, and the seconds of processor time for both."""
    start = time.process_time()
    program = made_up.program()
    pair = attacked(seed, program), attacked(seed, program, complementary=False)
    return *pair, time.process_time() - start


def main(facilities: int = FACILITIES) -> int:
    """Run the campaign; returns 1 if a small count was worked out of a published page."""
    with ProcessPoolExecutor(2) as workers:
        found = list(workers.map(both, range(facilities), chunksize=5))
    safe, bare = [one for one, _, _ in found], [one for _, one, _ in found]
    out = sum(len(one.worked_out) + len(one.known_to_be_small) for one in safe)
    answers = Counter(one.answer for one in safe)
    lines = [
        "# Attacks on the wide copy",
        "",
        f"`python tests/bench/wide_copy.py {facilities}`, scipy {version('scipy')}.",
        "",
        "| | as published | only small counts hidden |",
        "|---|---|---|",
        f"| facilities | {facilities} | {facilities} |",
        f"| counts of 1 to 4 people, printed or in a difference | {sum(o.small for o in safe):,} "
        f"| {sum(o.small for o in bare):,} |",
        f"| worked out exactly | {sum(len(o.worked_out) for o in safe):,} | {sum(len(o.worked_out) for o in bare):,} |",
        f"| known to be from 1 to 4 | {sum(len(o.known_to_be_small) for o in safe):,} "
        f"| {sum(len(o.known_to_be_small) for o in bare):,} |",
        f"| facilities with such a count | {sum(bool(o.worked_out or o.known_to_be_small) for o in safe)} "
        f"| {sum(bool(o.worked_out or o.known_to_be_small) for o in bare)} |",
        f"| counts printed | {sum(o.shown for o in safe):,} | {sum(o.shown for o in bare):,} |",
        f"| counts not printed | {sum(o.not_shown for o in safe):,} | {sum(o.not_shown for o in bare):,} |",
        "",
        "Leading comparison as published: " + ", ".join(f"{k} {n}" for k, n in sorted(answers.items())) + ".",
        f"Processor time {sum(s for _, _, s in found):.0f} s, longest facility {max(s for _, _, s in found):.0f} s.",
        "",
    ]
    RESULT.write_text("\n".join(lines), encoding="utf-8")
    print("\n".join(lines))
    return 1 if out else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else FACILITIES))
