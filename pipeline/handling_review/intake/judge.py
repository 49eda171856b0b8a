"""pandera as the contract: judges the distinct canonical values of a column and names the rule that fails.

Checks are element-wise, so judging each distinct value once judges every row, and a file of a hundred million rows
costs no more than the values it holds.
"""

from __future__ import annotations

import warnings
from functools import cache
from typing import Any

import polars as pl

with warnings.catch_warnings():  # pandera loads PySpark where it is installed, which then speaks up about pandas 3
    warnings.filterwarnings("ignore", "PySpark does not yet", FutureWarning)
    import pandera.polars as pa
    from pandera.errors import SchemaErrors

from handling_review.intake.contracts import Contract, Field

RULES = ("required", "type", "enum", "minimum", "maximum", "maxLength", "pattern")
_FORM = {
    "date": r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$",
    "integer": r"^-?[0-9]{1,15}$",
    "number": r"^-?[0-9]{1,13}(?:\.[0-9]{1,4})?$",
    "boolean": r"^(?:true|false)$",
}


def _type_holds(field: Field) -> pl.Expr:
    column = pl.col(field.name)
    if field.type == "string":
        return pl.lit(True)
    formed = column.str.contains(_FORM[field.type])
    if field.type == "date":
        real = column.str.to_date("%Y-%m-%d", strict=False).is_not_null()
        return column.is_null() | (formed & real)
    return formed


def _value(field: Field) -> pl.Expr:
    column = pl.col(field.name)
    if field.type == "date":
        return column.str.to_date("%Y-%m-%d", strict=False)
    return column.cast(pl.Float64, strict=False)


def _bound(field: Field, bound: str) -> pl.Expr:
    if field.type == "date":
        return pl.lit(bound).str.to_date("%Y-%m-%d")
    return pl.lit(float(bound))


def _holds(field: Field) -> dict[str, pl.Expr]:
    """One expression a rule; a rule that needs a readable value holds where the type already failed."""
    column = pl.col(field.name)
    holds = {"type": _type_holds(field)}
    if field.enum:
        holds["enum"] = column.is_in(list(field.enum))
    if field.minimum is not None:
        holds["minimum"] = (_value(field) >= _bound(field, field.minimum)).fill_null(True)
    if field.maximum is not None:
        holds["maximum"] = (_value(field) <= _bound(field, field.maximum)).fill_null(True)
    if field.max_length is not None:
        holds["maxLength"] = column.str.len_chars() <= field.max_length
    if field.pattern is not None:
        holds["pattern"] = column.str.contains(f"^(?:{field.pattern})$")
    return {rule: expression.fill_null(True) for rule, expression in holds.items()}


def _check(rule: str, expression: pl.Expr) -> pa.Check:
    def run(data: Any) -> pl.LazyFrame:
        frame: pl.LazyFrame = data.lazyframe.select(expression)
        return frame

    return pa.Check(run, name=rule, error=rule)


def column_schema(field: Field) -> pa.Column:
    """pandera column of canonical text for one field, its checks named after the rules of the contract."""
    checks = [_check(rule, expression) for rule, expression in _holds(field).items()]
    if field.required:
        checks.insert(0, _check("required", pl.col(field.name).is_not_null()))
    return pa.Column(pl.String, checks=checks, nullable=True)


def file_schema(contract: Contract) -> pa.DataFrameSchema:
    """pandera schema of a whole file of canonical text columns."""
    return pa.DataFrameSchema({f.name: column_schema(f) for f in contract.fields}, name=contract.name)


@cache
def _schema(field: Field) -> pa.DataFrameSchema:
    return pa.DataFrameSchema({field.name: column_schema(field)})


def failing_rules(field: Field, values: pl.Series) -> pl.Series:
    """The first rule that each canonical value fails, null where all hold.

    ``values``: text, any length. A value that fails several rules is reported under the first of ``RULES`` only:
    the others follow from it.
    """
    frame = pl.DataFrame({field.name: values})
    try:
        _schema(field).validate(frame, lazy=True)
    except SchemaErrors as errors:
        cases = errors.failure_cases.select(pl.col("index").cast(pl.Int64), pl.col("check").cast(pl.String))
        order = {rule: place for place, rule in enumerate(RULES)}
        first = (
            cases.with_columns(place=pl.col("check").replace_strict(order, return_dtype=pl.Int32))
            .group_by("index")
            .agg(pl.col("check").sort_by("place").first())
        )
        rows = pl.DataFrame({"index": pl.Series(range(len(values)), dtype=pl.Int64)})
        return rows.join(first, on="index", how="left", maintain_order="left").get_column("check")
    return pl.Series("check", [None] * len(values), dtype=pl.String)
