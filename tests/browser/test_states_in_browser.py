"""The page in extreme states, in a real browser: one sheet for page one, nothing cut, nothing on top of each other."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from pypdf import PdfReader

from handling_review.cli import main
from whole import states

pytestmark = pytest.mark.browser

STATES = ("sixty_units", "ten_years", "nothing_complete", "tiny", "long_names", "harmful")


@pytest.fixture(scope="module", params=STATES)
def page_file(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp(request.param)
    program = states.write(states.STATES[request.param], folder)
    assert main(["build", str(program), "--out", str(folder / "out")]) == 0
    return folder / "out" / "program-review.html"


def opened(browser: Browser, path: Path, width: int) -> Page:
    page = browser.new_context(viewport={"width": width, "height": 900}, offline=True).new_page()
    page.goto(path.as_uri())
    page.wait_for_selector("html.ready")
    return page


def draw_all(page: Page) -> None:
    plots = page.locator(".plot")
    for index in range(plots.count()):
        plots.nth(index).scroll_into_view_if_needed()
    for _ in range(100):
        if page.locator(".plot.drawn").count() == plots.count():
            return
        page.wait_for_timeout(100)
    pytest.fail("some picture was never drawn")


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_page_one_prints_on_one_sheet(browser: Browser, page_file: Path, tmp_path: Path, paper: str) -> None:
    page = opened(browser, page_file, 1280)
    printed = tmp_path / "page.pdf"
    page.pdf(path=printed, format=paper)
    first, second = (" ".join(sheet.extract_text().split()) for sheet in PdfReader(printed).pages[:2])
    assert "What we cannot tell yet" in first
    assert "no comparison of this kind can prove that" in first
    assert "Contents, with three ways to read on" in second[:80]
    page.context.close()


@pytest.mark.parametrize("width", [320, 1280])
def test_nothing_is_cut_at_the_side_and_no_names_overprint(browser: Browser, page_file: Path, width: int) -> None:
    page = opened(browser, page_file, width)
    draw_all(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    cut = page.evaluate(
        """() => [...document.querySelectorAll('.plot .main-svg text')].filter(text => {
            const plot = text.closest('.plot').getBoundingClientRect(), box = text.getBoundingClientRect();
            return box.width > 0 && (box.left < plot.left - 2 || box.right > plot.right + 2);
        }).map(text => text.closest('.plot').id + ': ' + text.textContent)"""
    )
    assert cut == []
    over = page.evaluate(
        """() => [...document.querySelectorAll('.plot')].flatMap(plot =>
            ['.xtick text', '.ytick text'].flatMap(kind => {
                const boxes = [...plot.querySelectorAll(kind)].map(text => [text.getBoundingClientRect(), text]);
                return boxes.flatMap(([a, text], at) => boxes.slice(at + 1).filter(([b]) =>
                    a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1 && b.top < a.bottom - 1
                ).map(([, other]) => plot.id + ': ' + text.textContent + ' / ' + other.textContent));
            }))"""
    )
    assert over == []
    page.context.close()


def test_a_unit_of_sixty_is_picked_by_keyboard(browser: Browser, page_file: Path) -> None:
    page = opened(browser, page_file, 1280)
    pick = page.locator("#pick-signals")
    if pick.count() == 0:
        assert page.locator("#plot-signals").count() <= 1, "one chart alone needs no list"
        return
    pick.scroll_into_view_if_needed()
    pick.focus()
    before = page.locator("#title-signals").inner_text()
    page.keyboard.press("ArrowDown")
    page.wait_for_timeout(500)
    assert page.locator("#title-signals").inner_text() != before
    page.context.close()
