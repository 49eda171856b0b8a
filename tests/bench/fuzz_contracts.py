"""Does the contract judge every cell as an independent reading does? ``python tests/bench/fuzz_contracts.py``.

Random cells of every column of every file are judged by the package (canonical text, pandera, typed value) and by the
plain reading below, which knows the Table Schema files and Python's own types, and nothing of the package's parsing.
Writes FUZZ_CONTRACTS.md.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

sys.path.insert(0, str(Path(__file__).parent.parent))

from bench.campaign import command
from handling_review import files
from handling_review.intake.contracts import contract, names
from handling_review.intake.judge import failing_rules
from handling_review.intake.values import Style, canonical, typed

RESULT = Path(__file__).with_name("FUZZ_CONTRACTS.md")
CELLS = 40  # of one column in a case
NO_DAY = (date(1900, 1, 1), date(9999, 12, 31))  # what some systems write where there is no day
WORDS = (
    "", " ", "yes", "NO", "true", "0", "1", "-1", "2", "1e5", "1.5", "1.50", "-0", "0.00004", "99999999999999999",
    "123456789012345", "2025-02-28", "2025-02-29", "2024-02-29", "1989-12-31", "1990-01-01", "2100-12-31", "2101-01-01",
    "25:00", "23:59", "7:05 pm", "x" * 64, "x" * 65, "x" * 300, "x" * 301, "é" * 200, "n/a", "unknown", "None", "other",
    "20001", "20000", "100", "100.0001", "-100000", "1000000", "1000000.1", "'; DROP TABLE x; --", "<b>", "=1+1",
)  # fmt: skip


@cache
def schema(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(files.read_text("schemas", f"{name}.json"))
    return found


def plain(field: dict[str, Any], missing: list[str], cell: str) -> str | None:
    """'accept', 'missing' or the name of the first rule that is broken; None where this reading takes no side."""
    text = " ".join(cell.split())
    rules = field.get("constraints", {})
    if text.casefold() in set(field.get("missingValues", missing)) - {str(v) for v in rules.get("enum", [])}:
        return "required" if rules.get("required") else "missing"
    if field["type"] == "date":
        return _plain_day(text, rules)
    if field["type"] in ("number", "integer"):
        return _plain_number(text, rules, whole=field["type"] == "integer")
    if field["type"] == "boolean":
        words = [*field.get("trueValues", []), *field.get("falseValues", [])]
        return "accept" if text.casefold() in words else "type"
    return _plain_text(text, rules, set(field.get("synonyms", {})))


def _plain_day(text: str, rules: dict[str, Any]) -> str | None:
    found = re.fullmatch(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})", text)
    if not found:
        return "type" if not re.search(r"[0-9]{5}|[a-z]{3}", text, re.I) else None  # other ways of writing a day
    try:
        day = date(*(int(part) for part in found.groups()))
    except ValueError:
        return "type"
    if day in NO_DAY:
        return "required" if rules.get("required") else "missing"
    return _between(day, rules, date.fromisoformat)


def _plain_number(text: str, rules: dict[str, Any], *, whole: bool) -> str | None:
    if not re.fullmatch(r"-?[0-9]{1,12}(\.[0-9]+)?", text):
        return None  # signs, currency, thousands: judged by tests of their own
    value = Decimal(text) if whole else Decimal(text).quantize(Decimal("0.0001"))
    if whole and value != int(value):
        return "type"
    if "enum" in rules and value not in {Decimal(str(one)) for one in rules["enum"]}:
        return "enum"
    return _between(value, rules, lambda bound: Decimal(str(bound)))


def _between(value: Any, rules: dict[str, Any], read: Callable[[Any], Any]) -> str:
    if "minimum" in rules and value < read(rules["minimum"]):
        return "minimum"
    return "maximum" if "maximum" in rules and value > read(rules["maximum"]) else "accept"


def _plain_text(text: str, rules: dict[str, Any], synonyms: set[str]) -> str:
    enum = [str(v) for v in rules.get("enum", [])]
    if enum:
        slug = re.sub(r"[\s\-/]+", "_", text.casefold())
        return "accept" if slug in enum or {slug, text.casefold()} & synonyms else "enum"
    if "maxLength" in rules and len(text) > rules["maxLength"]:
        return "maxLength"
    if "pattern" in rules and not re.fullmatch(rules["pattern"], text):
        return "pattern"
    return "accept"


def cells(field: dict[str, Any], random: np.random.Generator) -> list[str]:
    """Cells that a column may hold: its example, codes and bounds, odd words, and letters at random."""
    rules = field.get("constraints", {})
    own = [str(field["example"]), *(str(v) for v in rules.get("enum", [])), *field.get("synonyms", {})]
    own += [*field.get("trueValues", []), *field.get("falseValues", []), *field.get("missingValues", [])]
    own += [str(rules[b]) for b in ("minimum", "maximum") if b in rules]
    found = []
    for _ in range(CELLS):
        cell = str(random.choice([*own, *WORDS]))
        if random.random() < 0.2:
            cell = cell.upper() if random.random() < 0.5 else f"  {cell} "
        if random.random() < 0.15 and cell:
            at = int(random.integers(len(cell)))
            cell = cell[:at] + str(random.choice(list("0123456789-.:/ abZé"))) + cell[at + 1 :]
        found.append(cell)
    return found


def one_case(seed: int, number: int, folder: Path) -> str:
    """Judge the cells of one random column both ways; raises where the two differ."""
    random = np.random.Generator(np.random.PCG64([seed, number]))
    name = str(random.choice(names()))
    raw = schema(name)
    field = raw["fields"][random.integers(len(raw["fields"]))]
    one = contract(name).field(field["name"])
    texts = pl.Series("text", cells(field, random), dtype=pl.String)
    canon = canonical(one, texts, Style())
    rules = failing_rules(one, canon)
    frame = pl.DataFrame({"value": canon, "rule": rules})
    accepted = frame.select(pl.when(pl.col("rule").is_null()).then("value").otherwise(None)).to_series()
    values = typed(one, accepted).to_list()
    for cell, text, rule, value in zip(texts.to_list(), canon.to_list(), rules.to_list(), values, strict=True):
        expected = plain(field, list(raw.get("missingValues", [""])), cell)
        if expected is None:
            continue
        found = rule or ("missing" if text is None else "accept")
        if found != expected:
            raise AssertionError(f"{name}.{field['name']}: {cell[:60]!r} is judged {found}, expected {expected}")
        if found == "accept" and value is None:
            raise AssertionError(f"{name}.{field['name']}: {cell[:60]!r} is accepted and has no value")
    return f"{name}: judged alike"


def about(cases: int, seed: int) -> tuple[str, ...]:
    """What was run and what was held."""
    return (
        "# Cells against the contract",
        "",
        f"`python tests/bench/fuzz_contracts.py --cases {cases} --seed {seed}`; a case is {CELLS} cells of one column, "
        "judged by the package and by an independent reading of the Table Schema file.",
    )


if __name__ == "__main__":
    command(one_case, result=RESULT, cases=10_000, batch=100, about=about)
