"""An explanation as lines for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from handling_review.trace.formula import Formula, exact, functions_in
from handling_review.trace.rules import SERIES_RULE, definition, left_out, shortened, unread
from handling_review.trace.selection import COUNT, RANGES, Found, Selection, find
from handling_review.trace.tracer import Explanation, Tracer

WIDTH = 110
MOST_INPUTS = 60
MOST_STRETCHES = 40


def explained(tracer: Tracer, key: str) -> str:
    """Everything about one published number, as text."""
    found = tracer.explain(key)
    parts = [_head(tracer, found), _formula(found), _rows(tracer, found), _rules(tracer, key, found), _queries(found)]
    return "\n\n".join("\n".join(lines) for lines in (list(part) for part in parts) if lines)


def _head(tracer: Tracer, found: Explanation) -> Iterator[str]:
    number = found.number
    words = found.words[:1].upper() + found.words[1:]
    yield number.key
    yield from _wrapped(words + ("" if words.endswith(".") else "."))
    yield ""
    yield f"  shown as   {number.shown}"
    if number.value is None and number.shown.startswith("fewer than"):
        yield "  exactly    not given: so few could point at single persons"
    else:
        yield f"  exactly    {'not defined' if number.value is None else exact(number.value)}"
    yield f"  unit       {number.unit}"
    manifest = tracer.output.manifest
    yield f"  review     {manifest.get('facility', '')}, run {manifest.get('run_id', '')}"


def _formula(found: Explanation) -> Iterator[str]:
    formula = found.formula
    yield "HOW IT IS WORKED OUT"
    if formula is not None and formula.is_given:
        if formula.is_plain:
            yield f"  Taken as it stands: {formula.filled()}"
        else:
            yield from _wrapped(formula.named(), "  ")
            yield from _wrapped(f"= {formula.filled()}", "  ")
            yield f"  = {exact(formula.result())}"
        if formula.sense:
            yield from _wrapped(formula.sense, "  ")
        for words in functions_in(formula.expression):
            yield from _wrapped(words + ".", "  ")
    elif found.method is not None:
        words = "There is no one-line formula: this number comes out of the method below."
        if not found.method.is_fit:
            words = "It takes more than one line of arithmetic; the method below gives it."
        yield f"  {words}"
    else:
        unit = found.number.unit
        what = "rows" if unit == "rows" else f"{unit} of the rows"
        done = (
            "added up" if unit in ("hours", "days") or (found.selections and found.selections[0].amount) else "counted"
        )
        yield "  The people below are counted." if unit == "people" else f"  The {what} below are {done}."
    if found.method is not None:
        yield from _wrapped(f"Method: {found.method.words}", "  ")
        yield from _wrapped(f"Source: {found.method.source}", "  ")
    if formula is not None and formula.inputs:
        yield "  with"
        yield from _inputs(formula)
    for note in found.notes:
        yield from _wrapped(note, "  ")


def _inputs(formula: Formula) -> Iterator[str]:
    width = min(max(len(one.name) for one in formula.inputs), 28)
    for one in formula.inputs[:MOST_INPUTS]:
        where = f"trace {one.key}" if one.key else one.source
        yield from _wrapped(f"{one.name.replace('_', ' '):<{width}}  {grouped(one.value)} {one.unit}".rstrip(), "    ")
        yield from _wrapped(f"from: {where}" if not one.key else where, "        ")
    if len(formula.inputs) > MOST_INPUTS:
        yield f"    and {len(formula.inputs) - MOST_INPUTS} more"


def grouped(value: float) -> str:
    """A number with all its digits and thousands apart."""
    text = exact(value)
    whole, dot, rest = text.partition(".")
    if "e" in text or not whole.lstrip("-").isdigit():
        return text
    return f"{int(whole):,}{dot}{rest}" if whole not in ("-0",) else text


def _rows(tracer: Tracer, found: Explanation) -> Iterator[str]:
    if found.left_to_inputs:
        yield "THE ROWS BEHIND IT"
        yield "  Too many sets of rows for one page: trace the inputs above one by one."
        return
    if not found.selections:
        if found.formula is not None and not any(one.key for one in found.formula.inputs):
            yield "THE ROWS BEHIND IT"
            yield "  None: it follows from what is named above, not from single rows of the exports."
        return
    yield "THE ROWS BEHIND IT"
    for place, selection in enumerate(found.selections, start=1):
        yield from _one_set(tracer, place, selection)
    if any(selection.unit == "hours" for selection in found.selections):
        yield from _wrapped(
            "Hours of each unit, quarter and state of training are kept to four decimals before they are added up, so "
            "a sum can differ in the fourth decimal.",
            "  ",
        )


def _one_set(tracer: Tracer, place: int, selection: Selection) -> Iterator[str]:
    result = find(tracer.output, selection)
    yield from _wrapped(f"({place}) {_amount(selection, result)}: {selection.title}", "  ")
    if selection.lines != COUNT:
        if not result.lines:
            yield "      no row"
        for name, lines in result.lines:
            yield from _wrapped(f"{name} {_lines(selection, list(lines))}", "      ")
    if result.in_part:
        what = "hours" if selection.unit == "hours" else "amounts"
        why = (
            "the end of a quarter, a go-live day or a person's training" if what == "hours" else "the end of a quarter"
        )
        yield from _wrapped(
            f"{result.in_part:,} of these rows count in part only: their period crosses {why}. Their {what} are shared "
            f"evenly over the days of the period (the first k of d days hold {what} x k / d).",
            "      ",
        )
    if selection.note:
        yield from _wrapped(selection.note, "      ")


def _lines(selection: Selection, lines: list[int]) -> str:
    if selection.lines == RANGES:
        return shortened(lines, MOST_STRETCHES)
    word = "line" if len(lines) == 1 else "lines"
    return f"{word} {', '.join(str(line) for line in lines)}"


def _amount(selection: Selection, result: Found) -> str:
    if selection.few:
        return f"fewer than the privacy threshold of {selection.unit}"
    if result.amount is None:
        return f"{result.rows:,} {selection.unit if result.rows != 1 else _single(selection.unit)}"
    if selection.lines == COUNT:
        return f"{grouped(result.amount)} {selection.unit}"
    rows = "1 row" if result.rows == 1 else f"{result.rows:,} rows"
    return f"{grouped(round(result.amount, 8))} {selection.unit} in {rows}"


def _single(unit: str) -> str:
    return {"cases": "case", "rows": "row", "steps": "step", "claims": "claim"}.get(unit, unit)


def _rules(tracer: Tracer, key: str, found: Explanation) -> Iterator[str]:
    files = list(dict.fromkeys(one.file for one in found.selections if one.file in ("incidents", "hours", "training")))
    lines: list[str] = []
    last = key.split("/")[-1]
    series = [name for name in SERIES_RULE if name in key.split("/")] or ([last] if last in SERIES_RULE else [])
    for name in series:
        lines += _wrapped(SERIES_RULE[name], "  ")
    for name in found.rules:
        lines += _wrapped(definition(tracer.output, name), "  ")
    for path, value in found.settings:
        lines += _wrapped(f"Setting {path} = {'not stated' if value is None else value} (program file).", "  ")
    for file in files:
        lines += _fates(tracer, found, file)
    if lines:
        yield "THE RULES"
        yield from lines


def _fates(tracer: Tracer, found: Explanation, file: str) -> list[str]:
    from handling_review.trace.scope import Scope

    scope = found.scopes[0] if found.scopes else Scope("")
    where = "of all rows" if file == "training" or not (scope.unit or scope.quarters) else "of this place and time"
    lines: list[str] = []
    for one in left_out(tracer.output, scope, file):
        rows = "1 row" if one.rows == 1 else f"{one.rows:,} rows"
        lines += _wrapped(f"{file}: {rows} {where} not used ({one.fate}): {one.meaning} {one.lines}.", "  ")
    for one in unread(tracer.output, file):
        rows = "1 row" if one.rows == 1 else f"{one.rows:,} rows"
        lines += _wrapped(
            f"{file}: {rows} set aside while the file was read ({one.fate}); nobody knows its place and time. "
            f"{one.lines}.",
            "  ",
        )
    if not lines:
        lines = [f"  {file}: no row {where} was left out."]
    return lines


def _queries(found: Explanation) -> Iterator[str]:
    if not found.selections:
        return
    yield "THE QUERY (paste it into DuckDB with review.duckdb open)"
    yield "  For the rows themselves put this in place of the first line: SELECT DISTINCT file_no, line"
    for place, selection in enumerate(found.selections, start=1):
        yield ""
        yield f"  -- ({place}) {selection.title}".replace("\n", " ")
        yield from (f"  {line}" for line in selection.query().splitlines())


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + ("  " if indent else ""),
        break_long_words=False,
        break_on_hyphens=False,
    )
