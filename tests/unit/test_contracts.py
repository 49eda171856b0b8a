"""Contracts: every shipped file parses, everything is made from it, unknown rules are refused by name."""

from __future__ import annotations

import json
from typing import Any

import duckdb
import pytest

from handling_review import files
from handling_review.intake import contracts
from handling_review.intake.judge import file_schema
from handling_review.problems import ReviewProblem
from handling_review.program import FILE_NAMES


def raw(name: str) -> dict[str, Any]:
    content: dict[str, Any] = json.loads(files.read_text("schemas", f"{name}.json"))
    return content


def test_there_is_one_contract_for_each_file() -> None:
    assert set(contracts.names()) == set(FILE_NAMES)


@pytest.mark.parametrize("name", FILE_NAMES)
def test_each_column_is_described_in_full(name: str) -> None:
    one = contracts.contract(name)
    for field in one.fields:
        assert field.title
        assert field.description.endswith((".", "."))
        assert field.unit
        assert field.example
        if field.enum:
            assert field.example in field.enum
    assert one.name == name


@pytest.mark.parametrize("name", FILE_NAMES)
def test_pandera_duckdb_blank_file_and_dictionary_have_the_same_columns(name: str) -> None:
    one = contracts.contract(name)
    assert tuple(file_schema(one).columns) == one.names
    assert one.blank_csv() == ",".join(one.names) + "\n"
    declared = ", ".join(f'"{f.name}" {f.duckdb_type}' for f in one.fields)
    with duckdb.connect() as con:
        con.execute(f"CREATE TABLE t ({declared})")
        assert tuple(row[0] for row in con.execute("DESCRIBE t").fetchall()) == one.names
    text = contracts.dictionary()
    section = text[text.index(f"## {name}.csv") :]
    for column in one.names:
        assert f"| {column} |" in section


def test_an_unknown_key_is_refused_by_name() -> None:
    content = raw("hours")
    content["fields"][0]["personel"] = True
    with pytest.raises(ReviewProblem, match=r"column employee_id: unknown key 'personel'"):
        contracts.parse("hours", content)


def test_an_unknown_constraint_is_refused_by_name() -> None:
    content = raw("hours")
    content["fields"][5]["constraints"]["minimun"] = 0
    with pytest.raises(ReviewProblem, match=r"column hours: unknown constraint 'minimun'"):
        contracts.parse("hours", content)


def test_an_unknown_key_of_the_file_is_refused_by_name() -> None:
    with pytest.raises(ReviewProblem, match=r"schemas/hours.json: unknown key 'foreignKeys'"):
        contracts.parse("hours", raw("hours") | {"foreignKeys": []})


def test_an_unknown_type_is_refused() -> None:
    content = raw("hours")
    content["fields"][0]["type"] = "duration"
    with pytest.raises(ReviewProblem, match="unknown type 'duration'"):
        contracts.parse("hours", content)


def test_a_group_of_columns_counts_as_required_until_one_alternative_is_there() -> None:
    hours = contracts.contract("hours")
    assert hours.missing_columns(["unit", "hours", "work_date"]) == []
    assert hours.missing_columns(["unit", "hours", "period_start", "period_end"]) == []
    assert hours.missing_columns(["unit", "hours", "period_start"]) == ["period_end"]
    assert hours.missing_columns(["work_date"]) == ["unit", "hours"]


def test_only_ids_are_personal() -> None:
    personal = {(n, f.name) for n in FILE_NAMES for f in contracts.contract(n).fields if f.personal}
    assert personal == {("incidents", "employee_id"), ("hours", "employee_id"), ("training", "employee_id")}
