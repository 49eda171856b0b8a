"""The review of a system in Chromium: axe-core, without scripts, narrow, and on paper."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

from browser.opened import Opened, axe_source
from browser.test_accessibility_in_browser import RULES, RUN
from handling_review.cli import main
from whole.test_combine import written
from whole.test_combine_page import SYSTEMS

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def system_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("system")
    paths = written(folder / "in", *SYSTEMS["one far out"])
    assert main(["combine", *paths, "--out", str(folder / "out"), "--name", "Larkfield Health"]) == 0
    return folder / "out" / "system-review.html"


@pytest.mark.parametrize("width", [1280, 320])
def test_axe_finds_nothing_on_the_system_page(browser: Browser, system_file: Path, width: int) -> None:
    opened = Opened(browser, system_file, width, bypass_csp=True)
    opened.open_folds()
    assert opened.draw_all() == 2
    opened.page.evaluate(axe_source())
    passes, violations, incomplete = opened.page.evaluate(RUN, RULES)
    assert violations == []
    assert [node for node in incomplete if node[0] != "color-contrast" or not (node[2] or node[3])] == []
    assert passes >= 30
    assert opened.said == []
    assert opened.asked_elsewhere() == []
    wide = opened.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= width, "the page itself does not scroll sideways"


def test_the_page_is_whole_without_scripts(browser: Browser, system_file: Path) -> None:
    opened = Opened(browser, system_file, java_script_enabled=False)
    text = opened.page.locator("main").inner_text()
    for name in ("Ash", "Beech", "Cherry", "Damson", "Elder", "Fir", "All facilities together, after training"):
        assert name in text
    assert opened.page.locator("svg.glyph:visible").count() >= 15, "every picture has its ranges in a table"
    assert opened.page.locator("table:visible").count() == 4
    assert opened.page.locator(".plot:visible").count() == 0


@pytest.mark.parametrize("size", ["Letter", "A4"])
def test_on_paper_the_answer_stands_on_the_first_sheet(
    browser: Browser, system_file: Path, size: str, tmp_path: Path
) -> None:
    opened = Opened(browser, system_file)
    opened.draw_all()
    opened.page.pdf(path=tmp_path / "system.pdf", format=size)
    told = " ".join(PdfReader(tmp_path / "system.pdf").pages[0].extract_text().split())
    assert "Larkfield Health" in told
    assert "In the average facility" in told
