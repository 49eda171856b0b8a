"""Cells that failed the contract, told as findings: one for each column and rule, with the first lines named."""

from __future__ import annotations

from collections.abc import Iterable

from handling_review.findings import SHOWN_LINES, Finding
from handling_review.intake.contracts import Contract, Field
from handling_review.intake.reading import FileReader
from handling_review.intake.tally import BadCell, Tally
from handling_review.intake.values import Style, looks_like_other_order
from handling_review.problems import ReviewProblem


def cell_findings(file: str, reader: FileReader, style: Style) -> list[Finding]:
    """Findings of one file after it has been read, each with count, lines, and hours moved."""
    tally = reader.tally
    found = []
    for (column, rule), count in sorted(tally.cells.items()):
        kept = tally.kept[column, rule]
        found.append(_finding(file, reader.contract, tally, column, rule, count, kept, style))
    return found


def set_aside_rules(tally: Tally, contract: Contract) -> dict[str, str]:
    """Meaning of each set-aside rule of a file, keyed as in the tally (``column: rule``)."""
    meanings = {}
    for key in tally.set_aside:
        column, rule = key.split(": ")
        meanings[key] = f"{column}: {_what_failed(None if column == 'row' else contract.field(column), rule)}"
    return meanings


def _finding(
    file: str,
    contract: Contract,
    tally: Tally,
    column: str,
    rule: str,
    count: int,
    kept: Iterable[BadCell],
    style: Style,
) -> Finding:
    cells = list(kept)
    first = cells[0]
    field = None if column == "row" else contract.field(column)
    personal = field is not None and field.personal
    shown = "" if personal else first.text[:60]
    lines = ", ".join(str(c.line) for c in cells[1:SHOWN_LINES])
    more = f" Also line {lines}" + (" and more." if count > SHOWN_LINES else ".") if lines else ""
    vital = field is None or contract.is_vital(column)
    if vital:
        fate = f"{count:,} rows are set aside." if count > 1 else "The row is set aside."
    else:
        fate = f"{count:,} values are not used; their rows are." if count > 1 else "The value is not used; the row is."
    quoted = f"found {shown!r}; " if shown else ""
    return Finding(
        severity="look",
        rule=f"{column}: {rule}",
        file=file,
        line=first.line,
        column="" if column == "row" else column,
        found=shown,
        message=f"{quoted}{_what_failed(field, rule)} {fate}{more}",
        what_to_do=_remedy(file, contract, field, rule, first.text, style),
        rows=count,
        hours=tally.hours_set_aside.get((column, rule), 0.0),
        cases=count if contract.name == "incidents" and vital else 0,
    )


def _what_failed(field: Field | None, rule: str) -> str:
    if field is None:
        return "the row has another number of cells than the header."
    if rule == "required":
        return f"{field.title.lower()} is required and the cell is empty."
    if rule == "type":
        kinds = {
            "date": "this is not a date that exists, written year-month-day.",
            "integer": "this is not a whole number.",
            "number": "this is not a number.",
            "boolean": "this is neither yes nor no.",
        }
        return kinds[field.type]
    if rule == "enum":
        return f"this is not one of the known codes ({', '.join(field.enum)})."
    if rule in ("minimum", "maximum"):
        word = "below" if rule == "minimum" else "above"
        bound = field.minimum if rule == "minimum" else field.maximum
        return f"this is {word} the {rule} of {bound}."
    if rule == "maxLength":
        return f"this is longer than {field.max_length} characters."
    if rule == "pattern":
        return f"this is not written like {field.example}."
    raise ReviewProblem(f"No words for the rule {rule!r}.")


def _remedy(file: str, contract: Contract, field: Field | None, rule: str, text: str, style: Style) -> str:
    if field is None:
        return "Put quotation marks around cells that hold the delimiter, or export the file again."
    if rule == "type" and field.type == "date" and style.date_order == "iso" and looks_like_other_order(text):
        return (
            f'If the file writes month/day/year, add {contract.name} = "mdy" under [dates] of the program file; '
            'if day/month/year, "dmy".'
        )
    if rule == "type" and field.type in ("number", "integer") and "," in text and not style.decimal_comma:
        return f"If the file writes decimals with a comma, add {contract.name} = true under [decimal_comma]."
    if rule == "enum":
        return f"Map the code under [codes.{contract.name}.{field.name}] of the program file, or correct the cell."
    return "Correct the cell in the export and run again."
