"""Cells that failed the contract, told as findings: one for each column and rule, with the first lines named."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from datetime import date

from handling_review.findings import SHOWN_LINES, Finding
from handling_review.intake.contracts import Contract, Field
from handling_review.intake.reading import FileReader
from handling_review.intake.tally import BadCell, Tally
from handling_review.intake.values import Style, date_text, year_last
from handling_review.problems import ReviewProblem

LONGEST_QUOTED = 60  # characters
MOST_WORDS = 6  # more are a story, not a code
MOST_LETTERS = 4  # "many", "3 pm" and "12h" say what is wrong; a name is rarely so short
SUGGESTED_CODES = 12  # more distinct codes than this are seen better in the file itself


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
    shown = quotable(contract, field, first)
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
        message=f"{quoted}{_what_failed(field, rule, style)} {fate}{more}",
        what_to_do=_remedy(contract, field, rule, cells, style),
        rows=count,
        hours=tally.hours_set_aside.get((column, rule), 0.0),
        cases=count if contract.name == "incidents" and vital else 0,
        suggest=_suggestion(contract, field, rule, cells, style),
    )


def quotable(contract: Contract, field: Field | None, cell: BadCell) -> str:
    """What of a cell may stand in a message: nothing personal, no story, and of a day in the log only its form."""
    if field is None:
        return cell.text
    text = cell.text.strip()
    if field.personal or cell.hidden or len(text) > LONGEST_QUOTED or len(text.split()) > MOST_WORDS:
        return ""
    if field.type != "string" and sum(map(str.isalpha, text)) > MOST_LETTERS:
        return ""  # a word where a number or a day should stand may be a name
    if field.type == "date" and contract.name == "incidents" and _is_a_day(text):
        return re.sub("[A-Za-z]", "a", re.sub("[0-9]", "0", text))
    return text


def _is_a_day(text: str) -> bool:
    """Whether the text says a day of the calendar in any order, so that it could be the day of a case."""
    return any(_real(date_text(text, order)) for order in ("iso", "mdy", "dmy", "serial"))


def _real(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


_ORDER_WORDS = {
    "iso": "year-month-day",
    "mdy": "month/day/year, as the program file says, or year-month-day",
    "dmy": "day/month/year, as the program file says, or year-month-day",
    "serial": "as a spreadsheet day number, as the program file says, or year-month-day",
    "serial1904": "as a spreadsheet day number from 1904, as the program file says, or year-month-day",
}


def _what_failed(field: Field | None, rule: str, style: Style | None = None) -> str:
    if field is None:
        return "the row has another number of cells than the header."
    if rule == "required":
        return f"{field.title.lower()} is required and the cell is empty."
    if rule == "type":
        kinds = {
            "date": "this is not a date that exists"
            + (f", written {_ORDER_WORDS[style.date_order]}." if style else "."),
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


def _remedy(contract: Contract, field: Field | None, rule: str, cells: list[BadCell], style: Style) -> str:
    if field is None:
        return "Put quotation marks around cells that hold the delimiter, or export the file again."
    if rule == "type" and field.type == "date":
        return _date_remedy(contract, [cell.text for cell in cells], style)
    if rule == "type" and field.type in ("number", "integer") and "," in cells[0].text and not style.decimal_comma:
        return f"If the file writes decimals with a comma, add {contract.name} = true under [decimal_comma]."
    if rule == "type" and field.type in ("number", "integer") and "." in cells[0].text and style.decimal_comma:
        return f"The program file says {contract.name} = true under [decimal_comma]; correct that or the cell."
    if rule == "type" and ":" in cells[0].text and field.unit == "hours":
        return 'If the file writes hours and minutes, set written_as = "hh:mm" under [hours].'
    if rule == "enum":
        return f"Map the code under [codes.{contract.name}.{field.name}] of the program file, or correct the cell."
    return "Correct the cell in the export and run again."


def _date_remedy(contract: Contract, texts: list[str], style: Style) -> str:
    order = date_order_of(texts)
    if style.date_order != "iso" or order is None:
        serial = all(_SERIAL_LIKE.fullmatch(text.strip()) for text in texts)
        if serial and style.date_order == "iso":
            return f'If these are spreadsheet day numbers, add {contract.name} = "serial" under [dates].'
        return "Correct the cell in the export and run again."
    if order == "mixed":
        return (
            "The column mixes month/day/year and day/month/year, so no order can be trusted. "
            "Export it again year-month-day."
        )
    if order == "either":
        return (
            f'Both orders fit every value. Find out which it is and add {contract.name} = "mdy" (month first) or '
            '"dmy" (day first) under [dates] of the program file.'
        )
    words = "month/day/year" if order == "mdy" else "day/month/year"
    return f'The values fit {words} only: add {contract.name} = "{order}" under [dates] of the program file.'


_SERIAL_LIKE = re.compile(r"[0-9]{5}(?:\.[0-9]+)?")


def date_order_of(texts: list[str]) -> str | None:
    """What order dates with the year last are in: mdy, dmy, either, mixed, or None if they are no such dates."""
    parts = [found for text in texts if (found := year_last(text))]
    if not parts:
        return None
    month_first = any(second > 12 for _, second in parts)
    day_first = any(first > 12 for first, _ in parts)
    if month_first and day_first:
        return "mixed"
    if not month_first and not day_first:
        return "either"
    return "mdy" if month_first else "dmy"


def _suggestion(
    contract: Contract, field: Field | None, rule: str, cells: list[BadCell], style: Style
) -> tuple[str, str] | None:
    """A line for the program file that would settle the finding, if one would."""
    if field is None or field.personal:
        return None
    texts = [cell.text for cell in cells]
    if rule == "type" and field.type == "date" and style.date_order == "iso":
        order = date_order_of(texts)
        if order in ("mdy", "dmy"):
            return "dates", f'{contract.name} = "{order}"'
        if order == "either":
            return "dates", f'{contract.name} = "mdy"   # or "dmy": both fit; find out which'
    comma = any(re.fullmatch(r"\s*-?[0-9.]*,[0-9]+\s*", text) for text in texts)
    if rule == "type" and field.type == "number" and comma and not style.decimal_comma:
        return "decimal_comma", f"{contract.name} = true"
    if rule == "type" and field.unit == "hours" and all(re.fullmatch(r"\s*[0-9]+:[0-5][0-9]\s*", t) for t in texts):
        return "hours", 'written_as = "hh:mm"'
    if rule == "enum":
        codes = ", ".join(field.enum)
        shown = dict.fromkeys(cell.text for cell in cells if quotable(contract, field, cell))
        lines = [f'{json.dumps(text, ensure_ascii=False)} = "?"   # {codes}' for text in shown]
        if not lines:
            return None
        return f"codes.{contract.name}.{field.name}", "\n".join(lines[:SUGGESTED_CODES])
    return None
