"""The ledger: for every file, rows in = rows used + rows set aside + rows left out by a stated rule."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import pandas as pd

from handling_review.intake.cells import set_aside_rules
from handling_review.intake.load import Intake
from handling_review.intake.rules import CROSS_RULES, Rule
from handling_review.problems import ReviewProblem


@dataclass(frozen=True)
class LedgerLine:
    """Rows of one file under one rule."""

    file: str
    rule: str
    kind: str
    rows: int
    meaning: str


def ledger(intake: Intake, row_accounting: pd.DataFrame) -> list[LedgerLine]:
    """Lines of all files that came in.

    ``row_accounting``: columns file, fate, rows, hours, for the rows that reached the store. Raises ``ReviewProblem``
    if a row is unaccounted for: that would be a fault of this program.
    """
    fates: dict[str, Counter[str]] = {}
    for file, fate, rows in zip(row_accounting["file"], row_accounting["fate"], row_accounting["rows"], strict=True):
        fates.setdefault(str(file), Counter())[str(fate)] += int(rows)
    lines: list[LedgerLine] = []
    for file in dict.fromkeys(one.file for one in intake.files):
        lines += _file_lines(intake, file, fates.get(file, Counter()))
    return lines


def _file_lines(intake: Intake, file: str, fates: Counter[str]) -> list[LedgerLine]:
    read = [one for one in intake.files if one.file == file]
    rows_in = sum(one.rows for one in read)
    found: dict[str, tuple[Rule, int]] = {"used": (CROSS_RULES["used"], fates.pop("used", 0))}
    for one in read:
        tally = one.reader.tally
        meanings = set_aside_rules(tally, one.reader.contract)
        for key, count in sorted(tally.set_aside.items()):
            _add(found, key, Rule("set_aside", meanings[key]), count)
        for key, count in sorted(tally.excluded.items()):
            _add(found, key, CROSS_RULES[key], count)
    for fate, count in sorted(fates.items()):
        _add(found, fate, CROSS_RULES[fate], count)
    accounted = sum(count for _, count in found.values())
    if accounted != rows_in:
        raise ReviewProblem(f"{file}: {rows_in} rows came in and {accounted} are accounted for.")
    order = ("used", "set_aside", "excluded")
    lines = [
        LedgerLine(file, rule, kept.kind, count, kept.meaning)
        for rule, (kept, count) in found.items()
        if count or rule == "used"
    ]
    return sorted(lines, key=lambda one: (order.index(one.kind), -one.rows, one.rule))


def _add(found: dict[str, tuple[Rule, int]], key: str, rule: Rule, count: int) -> None:
    before = found.get(key, (rule, 0))[1]
    if before + count:
        found[key] = (rule, before + count)


def as_frame(lines: list[LedgerLine]) -> pd.DataFrame:
    """The ledger as a frame: file, rule, kind, rows, meaning."""
    return pd.DataFrame(
        [(one.file, one.rule, one.kind, one.rows, one.meaning) for one in lines],
        columns=["file", "rule", "kind", "rows", "meaning"],
    )
