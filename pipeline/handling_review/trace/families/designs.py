"""The designs of "did it work?": cases and hours on either side, and what each design makes of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from handling_review.trace.family import Builder, Built, Family, Groups, Rows
from handling_review.trace.scope import TRAINING, Scope
from handling_review.trace.selection import Selection, one_of
from handling_review.trace.sides import BEFORE_AFTER, COMPARISON, CONTROL, METHOD_OF, Asked, Cells

if TYPE_CHECKING:
    from handling_review.trace.tracer import Tracer


def _side(is_with: bool) -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        asked = Asked(tracer, parts["variant"], parts["series"])
        return (asked.side(is_with).of_cases(asked.series),)

    return rows


def _side_hours(is_with: bool) -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        asked = Asked(tracer, parts["variant"], parts["series"])
        if asked.exposure:
            return ()
        scope = asked.side(is_with)
        completions = (scope.of_completions(),) if TRAINING in scope.rules else ()
        return (scope.of_hours(), *completions)

    return rows


def _amount(is_with: bool) -> Rows:
    def rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
        return (amounts(tracer, parts["variant"].removeprefix("per_"), "after" if is_with else "before"),)

    return rows


def amounts(tracer: Tracer, measure: str, side: str) -> Selection:
    """Patient days, transfers or the like on one side of the units' starts."""
    whole = tracer.places.whole()
    words = measure.replace("_", " ")
    return Selection(
        title=f"{words}, {whole.words}, {side} the unit's start",
        file="exposure",
        table="int_exposure_parts",
        where=(f"measure = '{measure}'", f"go_live_phase = '{side}'", *whole.where),
        amount="sum(part_e4) / 1e4",
        unit=words,
        splits=True,
        lines="ranges",
    )


def _words(what: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        asked = Asked(tracer, parts["variant"], parts["series"])
        formula = None
        if what.startswith("Hours") and asked.exposure:
            sense = f"Cases are counted per {asked.exposure.removesuffix('s').replace('_', ' ')} here; no hours enter."
            formula = tracer.formula("0", {}, sense)
        return Built(formula, words=f"{what}: {asked.words()}", rules=asked.side(True).rules)

    return build


def _inputs(asked: Asked, end: str) -> dict[str, str]:
    inputs = {"cases_with": f"cases_with/{end}", "cases_without": f"cases_without/{end}"}
    if asked.exposure:
        return {
            **inputs,
            "amount_with": f"amount_with/facility/{asked.variant}",
            "amount_without": f"amount_without/facility/{asked.variant}",
        }
    return {**inputs, "hours_with": f"hours_with/{end}", "hours_without": f"hours_without/{end}"}


def _ratio(tracer: Tracer, parts: Groups) -> Built:
    asked = Asked(tracer, parts["variant"], parts["series"])
    end = f"facility/{parts['variant']}/design/{parts['series']}"
    inputs, method, expression = _inputs(asked, end), "", ""
    if asked.exposure:
        expression = "(cases_with / amount_with) / (cases_without / amount_without)"
    elif asked.design == BEFORE_AFTER:
        expression = "(cases_with / hours_with) / (cases_without / hours_without)"
    elif asked.design == CONTROL:
        plain = asked.variant == CONTROL
        for name, phase, side in (("others_with", "after", True), ("others_without", "before", False)):
            inputs[name] = f"cases/facility/{phase}/non_handling" if plain else f"SQL {asked.others(side)}"
        expression = "(cases_with / cases_without) / (others_with / others_without)"
    elif asked.design == COMPARISON:
        cells = tracer.cells(asked.series)
        for name, quarters in (("after", cells.after_roll_out()), ("before", cells.before_roll_out())):
            scope = _comparison_units(tracer, cells, quarters)
            inputs[f"other_cases_{name}"] = "SQL " + scope.of_cases(asked.series).query().rstrip(";")
            inputs[f"other_hours_{name}"] = "SQL " + scope.of_hours().query().rstrip(";").replace(
                "count(DISTINCT (file_no, record)) AS rows, ", ""
            )
        expression = (
            "((cases_with / hours_with) / (cases_without / hours_without)) "
            "/ ((other_cases_after / other_hours_after) / (other_cases_before / other_hours_before))"
        )
    else:
        method = "negative_binomial" if asked.variant == "negative_binomial" else METHOD_OF[asked.design]
    return Built(
        formula=tracer.formula(expression, inputs),
        words=f"Ratio of the rate with the program to the rate without it: {asked.words()}; {{what}}",
        method=method,
        rules=asked.side(True).rules,
    )


def _plain_ratio(tracer: Tracer, parts: Groups) -> Built:
    asked = Asked(tracer, parts["variant"], parts["series"])
    inputs = _inputs(asked, f"facility/{parts['variant']}/design/{parts['series']}")
    return Built(
        formula=tracer.formula("(cases_with / hours_with) / (cases_without / hours_without)", inputs),
        words=f"The two rates as they stand, one divided by the other: {asked.words()}",
        rules=asked.side(True).rules,
    )


def _comparison_units(tracer: Tracer, cells: Cells, quarters: Sequence[str]) -> Scope:
    units = sorted(set(tracer.strata.units) - set(cells.program_units))
    whole = tracer.places.whole()
    return whole.also("comparison units", one_of("unit", units), one_of("quarter", quarters))


def _of_method(what: str) -> Builder:
    def build(tracer: Tracer, parts: Groups) -> Built:
        asked = Asked(tracer, parts["variant"], parts["series"])
        end = f"facility/{parts['variant']}/design/{parts['series']}"
        inputs = {**_inputs(asked, end), "confidence": "@analysis.confidence"}
        method = "negative_binomial" if asked.variant == "negative_binomial" else METHOD_OF[asked.design]
        words = f"{what} of the ratio of the rate with the program to the rate without it: {asked.words()}; {{what}}"
        return Built(formula=tracer.formula("", inputs), words=words, method=method, rules=asked.side(True).rules)

    return build


def middle(scope: Scope) -> str:
    """Query: the middle of the hours of a scope in years, each quarter's hours at its middle."""
    conditions = " AND ".join(f"({one})" for one in (*scope.where, *scope.hours)) or "TRUE"
    return (
        "SELECT sum(part_e8 * (date_diff('day', DATE '0001-01-01', quarter_start) + date_diff('day', DATE "
        "'0001-01-01', quarter_end) + 2) / 2 / 365.25) / sum(part_e8) FROM int_hours_parts JOIN quarters USING "
        f"(quarter) WHERE {conditions}"
    )


def _must_fall_below(tracer: Tracer, parts: Groups) -> Built:
    asked = Asked(tracer, parts["variant"], parts["series"])
    words = f"The upper limit must lie below this before the review says lower: {asked.words()}"
    if asked.design != BEFORE_AFTER or asked.variant == "negative_binomial":
        sense = "Nothing is worked out: a general fall of rates cannot fool this comparison, so the line is 1."
        return Built(formula=tracer.formula("1", {}, sense), words=words)
    unit_start = Asked(tracer, "unit_start", parts["series"]) if asked.exposure else asked
    inputs = {
        "middle_with": "SQL " + middle(unit_start.side(True)),
        "middle_without": "SQL " + middle(unit_start.side(False)),
    }
    middles = tracer.formula("middle_with - middle_without", inputs)
    if math.isnan(middles.result()):
        sense = "Nothing is worked out: there are no hours on one of the two sides, so no years lie between them."
        return Built(tracer.formula("1", {}, sense), words=words)
    sense = (
        "A general fall of 4 % a year (all private industry, BLS) over the years between the middles of the hours on "
        "the two sides would give so low a ratio by itself."
    )
    expression = "(1 - 0.04) ** MAX(0, middle_with - middle_without)"
    return Built(formula=tracer.formula(expression, inputs, sense), words=words, rules=asked.side(True).rules)


def _line_rows(tracer: Tracer, parts: Groups) -> tuple[Selection, ...]:
    asked = Asked(tracer, parts["variant"], parts["series"])
    if asked.design != BEFORE_AFTER or asked.variant == "negative_binomial":
        return ()
    own = Asked(tracer, "unit_start", parts["series"]) if asked.exposure else asked
    return own.side(True).of_hours(), own.side(False).of_hours()


END = "facility/{variant}/design/{series}"
FAMILIES = (
    Family(f"cases_with/{END}", "", rows=_side(True), build=_words("Cases with the program")),
    Family(f"cases_without/{END}", "", rows=_side(False), build=_words("Cases without the program")),
    Family(f"hours_with/{END}", "", rows=_side_hours(True), build=_words("Hours with the program")),
    Family(f"hours_without/{END}", "", rows=_side_hours(False), build=_words("Hours without the program")),
    Family("amount_with/facility/{variant}", "Amount of work after the units' start ({variant}), all complete quarters",
           rows=_amount(True)),
    Family("amount_without/facility/{variant}",
           "Amount of work before the units' start ({variant}), all complete quarters", rows=_amount(False)),
    Family(f"ratio/{END}", "", build=_ratio),
    Family(f"plain_ratio/{END}", "", build=_plain_ratio),
    Family(f"ratio_{{limit}}/{END}", "", build=_of_method("{limit} limit"), settings=("analysis.confidence",)),
    Family(f"p_value/{END}", "", build=_of_method("P-value (two-sided)")),
    Family(f"must_fall_below/{END}", "", rows=_line_rows, build=_must_fall_below),
)  # fmt: skip
