"""A shipped SQL file in Spark's words, made by sqlglot, with nothing let through that was not looked at.

sqlglot writes a function that it does not know as it stands, without a word (seen with ``try_strptime`` and others). So
only the kinds of expression in `CHECKED` pass; ``tests/spark`` holds the sums of both engines against each other, and a
new kind is added here together with rows there that would show a difference.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from handling_review import files
from handling_review.problems import ProgramProblem

# Kinds of sqlglot expression that mean the same in DuckDB 2 and Spark 4 (in ANSI mode, its default).
# IntDiv: `//` and DIV both round toward zero, negative hours too. Cast: to whole numbers only, and the file casts
# decimals that are whole already, since DuckDB rounds others and Spark cuts them. Date minus date is no kind of its
# own: Spark makes an interval of it and refuses to go on, so files say date_diff('day', ...).
CHECKED = frozenset(
    {
        *("Create", "Select", "From", "Join", "Where", "Group", "Alias", "Paren"),
        *("Table", "TableAlias", "Column", "Identifier", "Literal", "Var", "DataType"),
        *("And", "EQ", "GTE", "LTE", "Add", "Sub", "Mul", "IntDiv"),
        *("Case", "If", "Cast", "DateDiff", "Greatest", "Least", "Sum"),
    }
)
WHOLE_NUMBERS = frozenset({"INT", "BIGINT"})
INSTEAD = 'set engine = "duckdb" under [store] (the default, the same figures)'


@dataclass(frozen=True)
class Portable:
    """One file in Spark's words: the table that it makes, the query, and which columns of which tables it reads.

    Tables go by their name without the ``work.`` in front.
    """

    table: str
    query: str
    reads: Mapping[str, tuple[str, ...]]


def translated(name: str) -> Portable:
    """One shipped SQL file in Spark's words. Raises ``ProgramProblem`` where a part of it was not checked."""
    return translate(files.read_text("sql", f"{name}.sql"), f"sql/{name}.sql")


def translate(text: str, title: str) -> Portable:
    """As `translated`, for a text; ``title`` names it in messages."""
    import sqlglot
    from sqlglot import exp

    try:
        tree = sqlglot.parse_one(text, read="duckdb")
        unlike = _unlike(tree)
        if unlike or not isinstance(tree, exp.Create) or not isinstance(tree.expression, exp.Select):
            raise _refused(title, unlike or "something else than one CREATE TABLE ... AS SELECT")
        places = {table.alias_or_name: table.name for table in tree.expression.find_all(exp.Table)}
        columns = [(places.get(column.table, ""), column.name) for column in tree.expression.find_all(exp.Column)]
        bare = [column for place, column in columns if not place]
        if bare:
            raise _refused(title, f"the column {bare[0]} without its table")
        for table in tree.find_all(exp.Table):
            table.set("db", None)
        for days in tree.find_all(exp.DateDiff):
            days.set("unit", None)  # with a unit Spark counts between moments of a time zone, without one whole days
        query = tree.expression.sql(dialect="spark", unsupported_level=sqlglot.ErrorLevel.RAISE)
    except sqlglot.errors.SqlglotError as error:
        raise _refused(title, str(error).splitlines()[0]) from None
    reads = {place: tuple(sorted({c for p, c in columns if p == place})) for place in sorted(set(places.values()))}
    return Portable(str(tree.this.name), query, reads)


def _unlike(tree: object) -> str:
    """The first part of a query that was not checked to mean the same in both; blank if there is none."""
    from sqlglot import exp

    assert isinstance(tree, exp.Expression)
    for node in tree.walk():
        kind = type(node).__name__
        if kind not in CHECKED:
            return str(node.name if isinstance(node, exp.Anonymous) else node.sql(dialect="duckdb"))
        if isinstance(node, exp.DataType) and node.this.value not in WHOLE_NUMBERS:
            return f"a cast to {node.sql(dialect='duckdb')}"
        if isinstance(node, exp.DateDiff) and node.text("unit").upper() != "DAY":
            return str(node.sql(dialect="duckdb"))
    return ""


def _refused(title: str, what: str) -> ProgramProblem:
    return ProgramProblem(f"{title} cannot run on Spark: {what} was not checked to mean the same there; {INSTEAD}.")
