"""How far the statistics agree with the reference values kept in ``reference/``.

Run as a script it prints one line per reference file: ``python tests/oracle/agreement.py > AGREEMENT.md``.
``test_reference.py`` holds every single comparison to the tolerance that its case states.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

REFERENCE = Path(__file__).parent / "reference"
Pairs = dict[str, tuple[Any, Any]]  # quantity -> (found, expected)


@dataclass(frozen=True)
class Comparison:
    """One number of ours beside the reference number it should equal."""

    case: str
    quantity: str
    found: float
    expected: float
    absolute: float
    relative: float

    @property
    def is_within(self) -> bool:
        if math.isnan(self.expected) or math.isinf(self.expected) or math.isnan(self.found):
            return self.found == self.expected or (math.isnan(self.found) and math.isnan(self.expected))
        return abs(self.found - self.expected) <= self.absolute + self.relative * abs(self.expected)

    @property
    def relative_error(self) -> float:
        """0 for equal numbers (also both missing or both infinite), relative to the reference otherwise."""
        if self.found == self.expected or (math.isnan(self.found) and math.isnan(self.expected)):
            return 0.0
        scale = abs(self.expected) if self.expected and math.isfinite(self.expected) else 1.0
        return abs(self.found - self.expected) / scale

    @property
    def has_all_digits(self) -> bool:
        """Whether the reference number is given to ten or more significant digits."""
        return len(repr(self.expected).split("e")[0].replace(".", "").strip("-0")) >= 10


def cases(name: str) -> list[dict[str, Any]]:
    """The cases of one reference file, with R's texts for missing and infinite turned into numbers."""
    loaded = json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))
    return [dict(case, expected=_numbers(case["expected"])) for case in loaded]


def compare(case: dict[str, Any], check: Callable[[dict[str, Any]], Pairs]) -> Iterator[Comparison]:
    """All comparisons of one case, lists flattened; a list of another length than expected is an error."""
    tolerance = case["tolerance"]
    for quantity, (found, expected) in check(case).items():
        ours, theirs = np.asarray(found, dtype=float), np.asarray(expected, dtype=float)
        if ours.shape != theirs.shape:
            raise AssertionError(f"{case['id']} {quantity}: {ours.shape} against {theirs.shape}")
        for place, (one, other) in enumerate(zip(ours.ravel(), theirs.ravel(), strict=True)):
            label = quantity if theirs.ndim == 0 else f"{quantity}[{place}]"
            yield Comparison(case["id"], label, float(one), float(other), tolerance["abs"], tolerance["rel"])


def checks() -> dict[str, Callable[[dict[str, Any]], Pairs]]:
    """For each reference file the function that computes our side of its cases."""
    import checks_charts
    import checks_models
    import checks_rates

    return checks_rates.CHECKS | checks_models.CHECKS | checks_charts.CHECKS


def table() -> str:
    """The agreement table in Markdown."""
    lines = [
        "# Agreement with the reference values",
        "",
        "Made by `python tests/oracle/agreement.py`. A comparison is one number of ours against one reference",
        "number; the tolerance is the one its case states. The worst relative error is taken over references",
        "given to ten or more digits: those printed with fewer only have to round to what was printed. A case",
        "without a comparison is about a quantity that is not offered here.",
        "",
        "| reference | cases | of these compared | comparisons | within tolerance | worst relative error |",
        "|---|---:|---:|---:|---:|---:|",
    ]
    for name, check in checks().items():
        all_cases = cases(name)
        made = {case["id"]: list(compare(case, check)) for case in all_cases}
        flat = [one for of_case in made.values() for one in of_case]
        compared = sum(bool(of_case) for of_case in made.values())
        within = sum(one.is_within for one in flat)
        errors = [one.relative_error for one in flat if one.has_all_digits]
        worst = f"{max(errors):.1e}" if errors else "-"
        lines.append(f"| {name} | {len(all_cases)} | {compared} | {len(flat)} | {within} | {worst} |")
    return "\n".join(lines) + "\n"


def _numbers(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _numbers(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_numbers(part) for part in value]
    texts = {"NaN": math.nan, "NA": math.nan, "Inf": math.inf, "-Inf": -math.inf}
    return texts.get(value, value) if isinstance(value, str) else value


if __name__ == "__main__":
    print(table(), end="")
