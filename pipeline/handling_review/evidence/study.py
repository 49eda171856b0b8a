"""How the designs did on made-up facilities with known truth: the committed simulation study, read back."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from functools import cache

from handling_review import files
from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number


@dataclass(frozen=True)
class Performance:
    """One design over the scenarios of the study in which the program did nothing.

    ``trend_false_lower`` is the largest share of facilities in which it said "lower" while rates fell everywhere and
    the program did nothing; ``chance_false_lower`` the same where the worst units started first and nothing changed at
    all. ``worst_false_lower`` is the largest over all such scenarios, ``worst_scenario`` the name of that one.
    """

    design: str
    facilities: Number
    trend_false_lower: Number
    trend_scenario: str
    chance_false_lower: Number
    worst_false_lower: Number
    worst_scenario: str


@cache
def rows() -> tuple[dict[str, str], ...]:
    """The rows of the study as it is shipped."""
    return tuple(csv.DictReader(io.StringIO(files.read_text("reports", "design_study.csv"))))


def performance(design: str) -> Performance | None:
    """How a design did where the program did nothing; ``None`` where the study does not hold it."""
    idle = [row for row in rows() if row["design"] == design and float(row["effect"]) == 1]
    if not idle:
        return None
    falling = [row for row in idle if float(row["yearly_change"]) < 0]
    worst_fall = max(falling or idle, key=lambda row: float(row["says_lower"]))
    worst_first = next((row for row in idle if "worst units first" in row["scenario"]), worst_fall)
    worst = max(idle, key=lambda row: float(row["says_lower"]))
    return Performance(
        design=design,
        facilities=numbers.count("study/facilities", int(worst["facilities"]), "facilities"),
        trend_false_lower=numbers.share(f"study/trend_false_lower/{design}", float(worst_fall["says_lower"])),
        trend_scenario=worst_fall["scenario"],
        chance_false_lower=numbers.share(f"study/chance_false_lower/{design}", float(worst_first["says_lower"])),
        worst_false_lower=numbers.share(f"study/worst_false_lower/{design}", float(worst["says_lower"])),
        worst_scenario=worst["scenario"],
    )
