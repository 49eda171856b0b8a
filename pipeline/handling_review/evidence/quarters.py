"""Quarter labels: ``2025-Q3``, or ``FY2026-Q1`` where the year does not start in January."""

from __future__ import annotations

from collections.abc import Sequence


def year_of(label: str) -> str:
    """The year part of a label: ``2025`` or ``FY2026``."""
    return label.rsplit("-Q", 1)[0]


def part_of(label: str) -> str:
    """The quarter part of a label: ``Q3``."""
    return "Q" + label.rsplit("-Q", 1)[1]


def stretches(labels: Sequence[str]) -> tuple[str, ...]:
    """Quarters in order as stretches: ``("2025-Q1 to 2025-Q3", "2026-Q1")``."""
    found: list[list[str]] = []
    for label in labels:
        if found and previous(label, 1) == found[-1][-1]:
            found[-1].append(label)
        else:
            found.append([label])
    return tuple(one[0] if len(one) == 1 else f"{one[0]} to {one[-1]}" for one in found)


def previous(label: str, steps: int) -> str:
    """The quarter ``steps`` before, for example ``previous("2025-Q1", 1) == "2024-Q4"``."""
    year, number = label.rsplit("-Q", 1)
    mark = "FY" if year.startswith("FY") else ""
    index = int(year.removeprefix("FY")) * 4 + int(number) - 1 - steps
    return f"{mark}{index // 4}-Q{index % 4 + 1}"
