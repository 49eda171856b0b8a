"""The list of published numbers, and the nearest keys to one that is not there."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from handling_review.problems import UsageProblem
from handling_review.trace.output import Output, Published

NEAREST = 5


def listed(output: Output, text: str = "") -> list[Published]:
    """Numbers whose key or unit holds every word of ``text``, in the order of the review."""
    words = text.casefold().split()
    return [
        number
        for number in output.numbers.values()
        if all(word in f"{number.key} {number.unit}".casefold() for word in words)
    ]


def as_lines(numbers: Iterable[Published]) -> list[str]:
    """Key, value as shown and unit, in columns."""
    rows = list(numbers)
    width = min(max((len(one.key) for one in rows), default=0), 90)
    return [f"{one.key:<{width}}  {one.shown}  {one.unit}" for one in rows]


def unknown_key(output: Output, key: str) -> UsageProblem:
    """The problem of a key that is not published, with the nearest ones."""
    near = difflib.get_close_matches(key, output.numbers, NEAREST, 0.5)
    if not near:
        parts = [part for part in key.split("/") if part]
        near = [known for known in output.numbers if any(part and part in known for part in parts)][:NEAREST]
    said = "\n".join(f"  {one}" for one in near)
    nearest = f" The nearest are:\n{said}" if near else ""
    return UsageProblem(
        f"{key}: no number of this review has this key.{nearest}\nList them with: handling-review trace "
        f"{output.folder} --list"
    )
