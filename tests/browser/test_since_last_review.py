"""Page one with much to say of the last review: it still prints on one sheet, and its numbers carry their keys."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

from handling_review.evidence import restated
from handling_review.evidence.numbers import RATE_UNIT
from handling_review.evidence.restated_compare import COMPARED, Changes, Item, Reason
from handling_review.history.differences import ChangedSetting
from handling_review.page.build import render
from spec import made_up_tables as made_up

pytestmark = pytest.mark.browser


def _items() -> Iterator[Item]:
    for quarter in ("2025-Q1", "2025-Q2", "2025-Q3", "2025-Q4"):
        why = (Reason("late_cases", cases=1), Reason("late_hours", hours=38.5))
        yield Item(f"cases/facility/{quarter}/handling", ("cases", 7.0, "7"), ("cases", 9.0, "9"), why)
        yield Item(f"rate/facility/{quarter}/handling", (RATE_UNIT, 8.1, "8.1"), (RATE_UNIT, 10.4, "10.4"), why)


MUCH = Changes(
    COMPARED,
    "abc",
    "2026-01-15",
    compared=1240,
    items=tuple(_items()),
    totals=(
        *(Reason("late_cases", cases=4), Reason("changed_outcome", cases=1), Reason("withdrawn_cases", cases=1)),
        *(Reason("late_hours", hours=138.5), Reason("corrected_hours", hours=-12.0)),
    ),
    settings=(
        ChangedSetting("training.washout_days", "30", "60"),
        ChangedSetting("analysis.confidence", "0.95", "0.9"),
    ),
)


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_page_one_prints_on_one_sheet_when_much_has_changed(browser: Browser, tmp_path: Path, paper: str) -> None:
    page_file = tmp_path / "program-review.html"
    page_file.write_text(render(replace(made_up.review(), restated=restated.gather(MUCH, {}))), encoding="utf-8")
    page = browser.new_page()
    page.goto(page_file.as_uri())
    page.wait_for_selector("html.ready")
    page.pdf(path=tmp_path / "review.pdf", format=paper)
    keys = page.eval_on_selector_all(".since [data-key]", "found => found.map(one => one.dataset.key)")
    page.close()
    sheets = [sheet.extract_text() for sheet in PdfReader(tmp_path / "review.pdf").pages]
    assert "training.washout_days was 30 and is 60" in " ".join(sheets[0].split())
    assert "Contents, with three ways to read on" in sheets[1][:60]
    assert {"restated/measured", "restated_cases/late_cases/facility"} <= set(keys)
