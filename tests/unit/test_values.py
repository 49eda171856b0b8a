"""Cell text to canonical text to typed value. Each line of a table is one cell and what it must become."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import polars as pl
import pytest

from handling_review.intake.contracts import contract
from handling_review.intake.judge import failing_rules
from handling_review.intake.values import Style, canonical, typed

HOURS = contract("hours")
INCIDENTS = contract("incidents")


def one(file: str, column: str, text: str, style: Style | None = None) -> str | None:
    return canonical(contract(file).field(column), pl.Series([text]), style or Style()).to_list()[0]


@pytest.mark.parametrize(
    ("text", "order", "becomes"),
    [
        ("2025-03-04", "iso", "2025-03-04"),
        ("2025/3/4", "iso", "2025-03-04"),
        ("20250304", "iso", "2025-03-04"),
        ("2025-03-04 00:00:00", "iso", "2025-03-04"),
        ("2025-03-04T02:30", "mdy", "2025-03-04"),
        ("03/04/2025", "mdy", "2025-03-04"),
        ("03/04/2025", "dmy", "2025-04-03"),
        ("4.3.2025", "dmy", "2025-03-04"),
        ("03/04/2025", "iso", "03/04/2025"),
        ("03/04/25", "mdy", "2025-03-04"),
        ("03/04/25", "iso", "03/04/25"),
        ("03/04/71", "dmy", "1971-04-03"),
        ("45291", "serial", "2023-12-31"),
        ("43829", "serial1904", "2023-12-31"),
        ("45291", "iso", "45291"),
        ("3-4/2025", "mdy", "3-4/2025"),
        (" 2025-03-04\u00a0", "iso", "2025-03-04"),
        ("1900-01-01", "iso", None),
        ("01/01/1900", "mdy", None),
        ("9999-12-31", "iso", None),
        ("", "iso", None),
        ("N/A", "iso", None),
    ],
)
def test_dates(text: str, order: str, becomes: str | None) -> None:
    assert one("hours", "work_date", text, Style(date_order=order)) == becomes


@pytest.mark.parametrize(
    ("text", "style", "becomes"),
    [
        ("7.5", Style(), "7.5000"),
        (".5", Style(), "0.5000"),
        ("12,480.50", Style(), "12480.5000"),
        ("1,234", Style(), "1234.0000"),
        ("1,234", Style(delimiter=";"), "1,234"),
        ("1,23", Style(), "1,23"),
        ("8,5", Style(delimiter=";"), "8,5"),
        ("8,5", Style(delimiter=";", decimal_comma=True), "8.5000"),
        ("1.234,5", Style(decimal_comma=True), "1234.5000"),
        ("(8.00)", Style(), "-8.0000"),
        ("-8", Style(), "-8.0000"),
        ("\u22128", Style(), "-8.0000"),
        ("7.999999", Style(), "8.0000"),
        ("7.12345", Style(), "7.1234"),
        ("1.2E+05", Style(), "1.2E+05"),
        ("7:30", Style(), "7:30"),
        ("ten", Style(), "ten"),
        ("nan", Style(), "nan"),
        ("inf", Style(), "inf"),
        ("٣", Style(), "٣"),
        ("-", Style(), None),
        ("none", Style(), None),
    ],
)
def test_numbers(text: str, style: Style, becomes: str | None) -> None:
    assert one("hours", "hours", text, style) == becomes


@pytest.mark.parametrize(
    ("column", "text", "becomes"),
    [
        ("outcome", "Days Away", "days_away"),
        ("outcome", "restricted-or-transfer", "restricted_or_transfer"),
        ("outcome", "2", "days_away"),
        ("outcome", "J", "other_recordable"),
        ("outcome", "LT", "LT"),
        ("equipment_in_use", "none", "none"),
        ("activity", "unknown", "unknown"),
        ("activity", "unk", None),
        ("handling_related", "Y", "true"),
        ("handling_related", "No", "false"),
        ("handling_related", "maybe", "maybe"),
        ("handling_related", "", None),
        ("employee_id", "000123", "000123"),
        ("employee_id", " E\u200b12 ", "E12"),
        ("employee_id", "Privacy Case", None),
        ("days_away", "3.0", "3"),
        ("days_away", "3.5", "3.5"),
        ("days_away", "ongoing", "ongoing"),
    ],
)
def test_codes_flags_ids_and_whole_numbers(column: str, text: str, becomes: str | None) -> None:
    assert one("incidents", column, text) == becomes


def test_a_code_of_the_facility_goes_before_everything_else() -> None:
    style = Style(codes={"outcome": {"N/A": "first_aid", "Lost Time": "days_away"}})
    assert one("incidents", "outcome", "n/a", style) == "first_aid"
    assert one("incidents", "outcome", " lost  time ", style) == "days_away"


@pytest.mark.parametrize(
    ("column", "text", "rule"),
    [
        ("hours", "7.5000", None),
        ("hours", "7:30", "type"),
        ("hours", "1000001.0000", "maximum"),
        ("hours", None, "required"),
        ("unit", None, "required"),
        ("unit", "x" * 301, "maxLength"),
        ("work_date", "2025-02-29", "type"),
        ("work_date", "2024-02-29", None),
        ("work_date", "1989-12-31", "minimum"),
        ("work_date", None, None),
        ("source", "agency", None),
        ("source", "vendor", "enum"),
        ("employee_id", None, None),
    ],
)
def test_pandera_names_the_first_rule_that_fails(column: str, text: str | None, rule: str | None) -> None:
    assert failing_rules(HOURS.field(column), pl.Series([text], dtype=pl.String)).to_list() == [rule]


def test_accepted_text_becomes_a_typed_value() -> None:
    assert typed(HOURS.field("hours"), pl.Series(["7.5000", None])).to_list() == [Decimal("7.5000"), None]
    assert typed(HOURS.field("work_date"), pl.Series(["2025-03-04"])).to_list() == [date(2025, 3, 4)]
    assert typed(INCIDENTS.field("days_away"), pl.Series(["12"])).to_list() == [12]
    assert typed(INCIDENTS.field("handling_related"), pl.Series(["true", "false", None])).to_list() == [
        True,
        False,
        None,
    ]
