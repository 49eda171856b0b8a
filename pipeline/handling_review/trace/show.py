"""What the trace command prints."""

from __future__ import annotations

from pathlib import Path

from handling_review.problems import UsageProblem
from handling_review.trace import system
from handling_review.trace.listing import as_lines, listed, unknown_key
from handling_review.trace.output import Output
from handling_review.trace.text import explained
from handling_review.trace.tracer import Tracer


def one(folder: Path, key: str) -> str:
    """Everything about one number.

    Raises ``UsageProblem`` for a key that is not published, ``OutputProblem`` for a folder that is no review.
    """
    with Output(folder) as output:
        if key not in output.numbers:
            raise unknown_key(output, key)
        if output.is_system:
            return system.one(output, key)
        return explained(Tracer(output), key)


def listing(folder: Path, text: str) -> str:
    """The published numbers whose key holds all words of ``text``.

    Raises ``UsageProblem`` where there is none, ``OutputProblem`` for a folder that is no review.
    """
    with Output(folder) as output:
        found = listed(output, text)
        if not found:
            raise UsageProblem(f"no key or unit holds {text!r}; {folder} has {len(output.numbers):,} numbers.")
        return "\n".join(as_lines(found))
