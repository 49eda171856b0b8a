"""Each contract judged by the reference reader of the Table Schema standard, cell by cell.

Oracle: the frictionless library (validator of the Data Package 2.0 standard, from its package index), which reads the
same schema files and shares no code with the program. Cells are written plainly (ISO dates, decimal points, lower
case), since spellings such as 03/14/2025 or 1,5 are turned into these before the contract is asked. Rules over several
rows (unique, primaryKey) are cross-checks of the program and no part of this comparison.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from decimal import Decimal

import polars as pl
import pytest
from frictionless import Resource, Schema

from handling_review import files
from handling_review.intake.contracts import Contract, Field, contract, names
from handling_review.intake.judge import failing_rules
from handling_review.intake.values import Style, canonical

ROWS = 600
CELL_ERRORS = ("type-error", "constraint-error")
Cell = tuple[int, str]  # row from 0, column

NOT_A_VALUE = ("x", "n.a.", "?", "twelve", "2024-13-77")
IMPOSSIBLE_DAYS = ("2024-02-30", "2023-02-29", "2024-13-01", "2024-00-10", "2024-04-31", "0024-01-01", "not yet")


def judged(one: Contract, rows: list[dict[str, str]]) -> set[Cell]:
    """Cells that the program's own contract refuses."""
    found: set[Cell] = set()
    for column in one.fields:
        texts = pl.Series(column.name, [row[column.name] for row in rows], dtype=pl.String)
        rules = failing_rules(column, canonical(column, texts, Style()))
        found |= {(place, column.name) for place, rule in enumerate(rules.to_list()) if rule is not None}
    return found


def judged_by_the_standard(name: str, rows: list[dict[str, str]]) -> set[Cell]:
    """Cells that frictionless refuses."""
    descriptor = json.loads(files.read_text("schemas", f"{name}.json"))
    table = [list(rows[0]), *([*row.values()] for row in rows)]
    report = Resource(data=table, schema=Schema.from_descriptor(descriptor)).validate(limit_errors=10**9)
    errors = report.flatten(["type", "rowNumber", "fieldName"])
    return {(row - 2, column) for kind, row, column in errors if kind in CELL_ERRORS}  # its row 1 is the header


def cells(column: Field, rng: random.Random) -> Iterator[str]:
    """Endless cells for a column: good ones, bad ones, and ones on each bound."""
    kinds = {"date": days, "number": numbers, "integer": numbers, "boolean": answers, "string": words}
    while True:
        chance = rng.random()
        if chance < 0.10:
            yield ""
        elif chance < 0.20:
            yield rng.choice(column.missing_values)
        elif chance < 0.35:
            yield column.example
        else:
            yield kinds[column.type](column, rng)


def days(column: Field, rng: random.Random) -> str:
    if rng.random() < 0.15:
        return rng.choice((*IMPOSSIBLE_DAYS, *NOT_A_VALUE))
    bounds = [date.fromisoformat(bound) for bound in (column.minimum, column.maximum) if bound is not None]
    if bounds and rng.random() < 0.5:
        return (rng.choice(bounds) + timedelta(days=rng.choice((-400, -1, 0, 1, 400)))).isoformat()
    return (date(1700, 1, 1) + timedelta(days=rng.randrange(200_000))).isoformat()


def numbers(column: Field, rng: random.Random) -> str:
    if rng.random() < 0.15:
        return rng.choice(("3.5x", "1.2.3", "--5", "0x10", *NOT_A_VALUE))
    whole = column.type == "integer"
    step = Decimal(1) if whole else Decimal("0.0001")
    bounds = [Decimal(bound) for bound in (column.minimum, column.maximum) if bound is not None]
    if bounds and rng.random() < 0.5:
        return f"{rng.choice(bounds) + step * rng.choice((-1, 0, 1)):f}"
    size = 10 ** rng.randrange(1, 9)
    if whole:
        return rng.choice((str(rng.randrange(-size, size)), f"{rng.randrange(size)}.5"))
    return f"{Decimal(rng.randrange(-size, size)).scaleb(-rng.randrange(5)):f}"


def answers(column: Field, rng: random.Random) -> str:
    return rng.choice((*column.true_values, *column.false_values, "maybe", "2", "yesno"))


def words(column: Field, rng: random.Random) -> str:
    if column.enum:
        return rng.choice((*column.enum, *column.enum, "bank", "quite_unknown", f"{column.enum[0]}x"))
    if column.pattern:
        return rng.choice((column.example, *(str(rng.randrange(10**6)) for _ in range(3)), "2022-x", "12-34-56"))
    if column.max_length and rng.random() < 0.4:
        return "é" * (column.max_length + rng.choice((-1, 0, 1)))
    return "".join(rng.choice("abcÄñ漢09_") for _ in range(rng.randrange(1, 12)))


def table(one: Contract, rng: random.Random) -> list[dict[str, str]]:
    """Rows of random cells, at least one of them with a value: other rows are blank to the standard and not judged."""
    streams = {column.name: cells(column, rng) for column in one.fields}
    rows = ({name: next(stream) for name, stream in streams.items()} for _ in range(ROWS))
    return [row for row in rows if any(row[column.name] not in column.missing_values for column in one.fields)]


def told(differing: Iterable[Cell], rows: list[dict[str, str]]) -> list[str]:
    return [f"{column} = {rows[place][column]!r}" for place, column in sorted(differing)[:5]]


@pytest.mark.parametrize("name", names())
def test_the_same_cells_are_refused(name: str) -> None:
    one = contract(name)
    rows = table(one, random.Random(f"cells of {name}"))
    ours, theirs = judged(one, rows), judged_by_the_standard(name, rows)
    assert not told(ours - theirs, rows), "refused by the program alone"
    assert not told(theirs - ours, rows), "refused by the standard alone"
    for column in one.fields:
        refused = sum((place, column.name) in ours for place in range(len(rows)))
        can_fail = column.type != "string" or column.rules()
        assert 0.02 * len(rows) < refused or not can_fail, f"{column.name}: too few cells refused to tell"
        assert refused < 0.9 * len(rows), f"{column.name}: too few cells taken to tell"


@pytest.mark.parametrize(
    ("name", "column", "text", "we_refuse", "they_refuse"),
    [
        # the store keeps four places: a value is rounded to them before its bound is asked
        ("incidents", "assist_share", "100.00004", False, True),
        # and at most thirteen digits before the point, whether or not a maximum is stated
        ("incidents", "claim_cost", "12345678901234", True, False),
        # the standard's numbers include powers and infinity; no payroll writes hours so, but a damaged export does
        ("hours", "hours", "1e2", True, False),
        ("incidents", "claim_cost", "INF", True, False),
        # spreadsheets write whole numbers as 5.0
        ("incidents", "days_away", "5.0", False, True),
        # a log's own codes are mapped before they are judged: 1 to 4 are the boxes of Form 300
        ("incidents", "outcome", "2", False, True),
        # capitals and outer space carry no meaning
        ("incidents", "outcome", " Days_Away ", False, True),
        ("training", "competency", "YES", False, True),
    ],
)
def test_where_the_program_differs_from_the_standard_on_purpose(
    name: str, column: str, text: str, we_refuse: bool, they_refuse: bool
) -> None:
    one = contract(name)
    row = {field.name: "" for field in one.fields} | {column: text}
    assert ((0, column) in judged(one, [row])) is we_refuse
    assert ((0, column) in judged_by_the_standard(name, [row])) is they_refuse
