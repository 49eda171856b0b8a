"""Selections of trace: conditions, queries, and lines joined to ranges; families read keys."""

from __future__ import annotations

import pytest

from handling_review.trace.families import BY_HEAD, FAMILIES
from handling_review.trace.family import Family
from handling_review.trace.listing import as_lines
from handling_review.trace.methods import METHODS
from handling_review.trace.output import Published, plain
from handling_review.trace.selection import Selection, one_of, quoted, ranges
from handling_review.trace.text import grouped


@pytest.mark.parametrize(
    ("lines", "text"),
    [([], ""), ([7], "7"), ([2, 3, 4], "2-4"), ([2, 3, 5, 9, 10], "2-3, 5, 9-10"), ([2, 4, 6], "2, 4, 6")],
)
def test_lines_as_ranges(lines: list[int], text: str) -> None:
    assert ranges(lines) == text


def test_a_unit_with_an_apostrophe_stays_one_text() -> None:
    assert quoted("St. Anne's") == "'St. Anne''s'"
    assert one_of("unit", ["A"]) == "unit = 'A'"
    assert one_of("unit", ["A", "B'C"]) == "unit IN ('A', 'B''C')"
    assert one_of("unit", []) == "FALSE"


def test_a_query_says_what_it_counts_or_adds_up() -> None:
    rows = Selection("cases", "incidents", "int_cases", ("is_recordable", "a = 1 OR b = 2"), unit="cases")
    assert rows.query() == "SELECT count(*) AS cases\nFROM int_cases\nWHERE is_recordable\n    AND (a = 1 OR b = 2);"
    assert rows.line_query().startswith("SELECT DISTINCT file_no, line\nFROM int_cases")
    hours = Selection("hours", "hours", "int_hours_parts", (), amount="sum(part_e8) / 1e8", unit="hours")
    assert hours.query() == (
        "SELECT count(DISTINCT (file_no, record)) AS rows, sum(part_e8) / 1e8 AS hours\nFROM int_hours_parts;"
    )
    assert hours.amount_query() == "SELECT sum(part_e8) / 1e8 FROM int_hours_parts"


def test_families_are_found_by_the_head_of_the_key_and_name_known_methods() -> None:
    assert "rate_lower" in BY_HEAD
    assert not [head for head in BY_HEAD if "{" in head]
    for family in FAMILIES:
        assert not family.method or family.method in METHODS, family.pattern
        assert family.words or family.build, family.pattern


@pytest.mark.parametrize(
    ("pattern", "key", "parts"),
    [
        ("rate/{place}/{series}", "rate/facility/2025-Q3/dart", {"place": "facility/2025-Q3", "series": "dart"}),
        (
            "rate/{place}/{series}",
            "rate/unit:North%20Wing/FY2026-Q1/handling",
            {"place": "unit:North%20Wing/FY2026-Q1", "series": "handling"},
        ),
        ("rate/{place}/{series}", "rate/facility/2025-Q3/no_series", None),
        ("rate_{limit}/{unit}", "rate_upper/unit:A", {"limit": "upper", "unit": "unit:A"}),
        ("npv/proposal:{n}/{rate}", "npv/proposal:12/10", {"n": "12", "rate": "10"}),
        ("npv/proposal:{n}/{rate}", "npv/proposal:1/3/2", None),
    ],
)
def test_patterns_read_the_parts_of_a_key(pattern: str, key: str, parts: dict[str, str] | None) -> None:
    assert Family(pattern, "x").match(key) == parts


def test_the_list_stands_in_columns() -> None:
    rows = [Published("a/b", 1.0, "cases", "1"), Published("a/long", None, "ratio", "not defined")]
    assert as_lines(rows) == ["a/b     1  cases", "a/long  not defined  ratio"]


def test_what_keeps_a_spreadsheet_from_running_a_cell_is_taken_off_again() -> None:
    assert plain("'=unit") == "=unit"
    assert plain("'tis") == "'tis"
    assert plain("") == ""


@pytest.mark.parametrize(("value", "text"), [(1234567.5, "1,234,567.5"), (-1234, "-1,234"), (0.25, "0.25"), (7, "7")])
def test_thousands_stand_apart(value: float, text: str) -> None:
    assert grouped(value) == text
