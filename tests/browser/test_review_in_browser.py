"""The page in a real browser, from a file, with the network off."""

from __future__ import annotations

import math
import random
import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

from browser.opened import Opened
from handling_review.stats import money
from spec import made_up_tables as made_up

pytestmark = pytest.mark.browser

PLOTS = 18


def test_it_draws_without_an_error_and_without_asking_for_anything(browser: Browser, review_file: Path) -> None:
    opened = Opened(browser, review_file)
    opened.draw_all()
    assert opened.said == []
    assert [url for url in opened.asked if not url.startswith(("file:", "data:", "blob:"))] == []
    for index in range(PLOTS):
        assert opened.page.locator(".plot").nth(index).locator(".main-svg").count() >= 1


def test_pictures_are_drawn_only_when_they_come_near(browser: Browser, review_file: Path) -> None:
    opened = Opened(browser, review_file)
    opened.page.wait_for_selector("html.ready")
    opened.page.wait_for_timeout(300)
    assert opened.page.locator(".plot.drawn").count() < PLOTS


def test_drawing_does_not_move_the_page(browser: Browser, review_file: Path) -> None:
    opened = Opened(browser, review_file)
    opened.page.wait_for_selector("html.ready")
    before = opened.page.evaluate("document.documentElement.scrollHeight")
    opened.draw_all()
    assert opened.page.evaluate("document.documentElement.scrollHeight") == before


@pytest.mark.parametrize("width", [320, 480, 768, 1280])
def test_the_page_never_scrolls_sideways(browser: Browser, review_file: Path, width: int) -> None:
    opened = Opened(browser, review_file, width)
    opened.draw_all()
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= width
    outside = opened.page.evaluate(
        """width => [...document.querySelectorAll('body *')].filter(element =>
            !element.closest('.scroll') && !element.closest('svg') && !element.closest('.skip')
            && element.getBoundingClientRect().right > width + 1).map(element => element.outerHTML.slice(0, 80))""",
        width,
    )
    assert outside == []


def test_wide_tables_scroll_in_their_own_box_by_keyboard(browser: Browser, review_file: Path) -> None:
    opened = Opened(browser, review_file, 320)
    opened.page.wait_for_selector("html.ready")
    boxes = opened.page.evaluate(
        "[...document.querySelectorAll('.scroll')].map(b => [b.scrollWidth > b.clientWidth, b.tabIndex])"
    )
    assert any(overflows for overflows, _ in boxes)
    for overflows, stop in boxes:
        assert stop == (0 if overflows else -1)


def test_a_unit_is_picked_by_keyboard_and_its_chart_title_and_description_take_the_place(
    browser: Browser, review_file: Path
) -> None:
    opened = Opened(browser, review_file)
    page = opened.page
    pick = page.locator("#pick-signals")
    pick.scroll_into_view_if_needed()
    opened.until("document.getElementById('plot-signals').classList.contains('drawn')")
    units = [unit.name for unit in made_up.review().watch.units if not unit.reason]
    assert pick.locator("option").all_inner_texts() == ["Whole facility", *units]
    title, tall = page.locator("#title-signals"), "document.documentElement.scrollHeight"
    before, height = title.inner_text(), page.evaluate(tall)
    pick.focus()
    page.keyboard.press("ArrowDown")
    opened.until("document.getElementById('plot-signals').dataset.shows === 'signals-1'")
    assert title.inner_text() != before
    assert title.inner_text().startswith(units[0])
    assert units[0] in page.locator("#about-signals").inner_text()
    assert page.locator("label[for=pick-signals]").inner_text() == "Show the chart of"
    assert abs(page.evaluate(tall) - height) < 120, "only the length of the words may move the page"
    page.keyboard.press("ArrowUp")
    opened.until("document.getElementById('plot-signals').dataset.shows === 'signals'")
    assert title.inner_text() == before
    assert opened.said == []


def test_the_calculator_has_the_formulas_of_the_tables(browser: Browser, review_file: Path) -> None:
    """A thousand random purchases, computed in the browser and in Python."""
    page = Opened(browser, review_file).page
    dice = random.Random(1904)
    asked = [
        (
            {
                "addressed": dice.uniform(0, 6),
                "outlay": dice.choice((0.0, dice.uniform(100, 200_000))),
                "service": dice.choice((0.0, dice.uniform(0, 9_000))),
                "years": dice.randint(1, 25),
            },
            dice.uniform(1, 60_000),
            dice.uniform(0, 1),
            dice.choice((0.0, 0.03, dice.uniform(0, 0.5))),
        )
        for _ in range(1_000)
    ]
    found = page.evaluate(
        "all => all.map(([p, c, r, d]) => { const f = window.programReviewWhatIf(p, c, r, d);"
        " return [f.npv, f.breakEven, f.saving, isFinite(f.payback) ? f.payback : -1]; })",
        [list(one) for one in asked],
    )
    for (purchase, cost, share, rate), (npv, even, saving, payback) in zip(asked, found, strict=True):
        yearly = purchase["addressed"] * share * cost
        flows = [-purchase["outlay"]] + [yearly - purchase["service"]] * purchase["years"]
        assert npv == pytest.approx(money.npv(flows, rate), rel=1e-9, abs=1e-6)
        assert saving == pytest.approx(yearly)
        wanted = money.break_even_cases(purchase["outlay"], purchase["service"], cost, purchase["years"], rate)
        assert even == pytest.approx(wanted, rel=1e-9)
        expected = money.payback(flows)
        assert payback == pytest.approx(-1 if math.isinf(expected) else expected, rel=1e-9, abs=1e-9)


def test_the_calculator_answers_as_it_is_filled_in_and_refuses_what_cannot_be(
    browser: Browser, review_file: Path
) -> None:
    opened = Opened(browser, review_file)
    page = opened.page
    page.locator("#what-if").scroll_into_view_if_needed()
    result = page.locator("#what-if-result")
    start = result.inner_text()
    assert start.startswith("Net present value about")
    page.fill("#what-if-reduction", "0")
    assert result.inner_text() != start
    page.fill("#what-if-reduction", "140")
    assert result.inner_text().startswith("Give a cost of nought or more")
    page.select_option("#what-if-proposal", "1")
    assert result.inner_text().startswith("Net present value about")
    page.keyboard.press("Enter")
    assert opened.said == []


def test_without_scripts_every_sentence_table_and_small_picture_is_there(browser: Browser, review_file: Path) -> None:
    opened = Opened(browser, review_file, java_script_enabled=False)
    page = opened.page
    assert page.locator(".plot:visible").count() == 0
    assert page.locator("figcaption:visible").count() == PLOTS
    text = page.locator("body").inner_text()
    for wanted in ("Did it change with training?", "Handling injuries by quarter", "What became of every row"):
        assert wanted in text
    assert page.locator("svg.glyph:visible").count() > 40


def test_focus_is_visible_and_the_skip_link_comes_first(browser: Browser, review_file: Path) -> None:
    opened = Opened(browser, review_file)
    opened.page.keyboard.press("Tab")
    focused = opened.page.evaluate(
        "(() => { const e = document.activeElement, s = getComputedStyle(e), b = e.getBoundingClientRect();"
        " return [e.className, s.outlineStyle, b.left >= 0]; })()"
    )
    assert focused == ["skip", "solid", True]


def luminance(colour: str) -> float:
    """Relative luminance of an rgb() colour, WCAG 2.2."""
    channels = [int(c) / 255 for c in re.findall(r"\d+", colour)[:3]]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_text_has_enough_contrast(browser: Browser, review_file: Path) -> None:
    # WCAG 2.2, 1.4.3: 4.5 to 1 against the white page.
    opened = Opened(browser, review_file)
    opened.draw_all()
    colours = opened.page.evaluate(
        """[...new Set([...document.querySelectorAll('body *')].filter(e => e.childNodes.length
            && [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()) && !e.closest('script, style'))
            .map(e => { const s = getComputedStyle(e); return e.closest('svg') ? s.fill : s.color; }))]"""
    )
    assert len(colours) >= 3
    for colour in colours:
        assert 1.05 / (luminance(colour) + 0.05) >= 4.5, colour


def test_targets_are_large_enough(browser: Browser, review_file: Path) -> None:
    # WCAG 2.2, 2.5.8: 24 by 24 CSS pixels, links inside a sentence excepted.
    opened = Opened(browser, review_file)
    small = opened.page.evaluate(
        """[...document.querySelectorAll('summary, .routes a, a.from')].map(e => e.getBoundingClientRect())
            .filter(b => b.height < 24 && b.width > 0).length"""
    )
    assert small == 0


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_page_one_prints_on_one_sheet_and_the_rest_is_complete(
    browser: Browser, review_file: Path, tmp_path: Path, paper: str
) -> None:
    opened = Opened(browser, review_file)
    opened.page.wait_for_selector("html.ready")
    printed = tmp_path / "review.pdf"
    opened.page.pdf(path=printed, format=paper)
    sheets = [sheet.extract_text() for sheet in PdfReader(printed).pages]
    assert "Made-up Care Home" in sheets[0]
    assert "What we cannot tell yet" in sheets[0]
    assert "no comparison of this kind can prove that" in " ".join(sheets[0].split())
    assert "Contents, with three ways to read on" in sheets[1][:60]
    assert "For the safety committee\nHow often staff are hurt" in sheets[2][:60]
    text = " ".join(" ".join(sheets).split())
    assert "A quarter is never multiplied by four." in text  # a closed fold opens on paper
    assert "no change" in text  # drawn inside a picture that never came into view


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_page_one_of_the_sample_facility_prints_on_one_sheet(
    browser: Browser, sample_file: Path, tmp_path: Path, paper: str
) -> None:
    opened = Opened(browser, sample_file)
    opened.page.wait_for_selector("html.ready")
    printed = tmp_path / "sample.pdf"
    opened.page.pdf(path=printed, format=paper)
    sheets = [sheet.extract_text() for sheet in PdfReader(printed).pages]
    first, second, third = sheets[:3]
    assert f"1 of {len(sheets)}" in first  # counted before the pictures are drawn for paper: none may change its height
    assert f"{len(sheets)} of {len(sheets)}" in sheets[-1]
    assert "Quillmere Care Campus" in first
    assert "no comparison of this kind can prove that" in " ".join(first.split())
    assert "Contents, with three ways to read on" in second[:60]
    assert "For the safety committee\nHow often staff are hurt" in third[:60]
    table = opened.page.locator(".page-one .pair table tbody").inner_text()
    assert table.count("published") == 1


@pytest.mark.parametrize("width", [694, 717])
def test_nothing_on_paper_is_wider_than_the_sheet(browser: Browser, review_file: Path, width: int) -> None:
    # A4 and Letter less the margins, in CSS pixels. One thing too wide makes the browser shrink the whole print.
    opened = Opened(browser, review_file, width)
    opened.page.emulate_media(media="print")
    opened.page.wait_for_timeout(300)
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= width


def test_row_headings_break_between_words_on_a_phone(browser: Browser, sample_file: Path) -> None:
    opened = Opened(browser, sample_file, 320, 640)
    broken = opened.page.evaluate(
        """[...document.querySelectorAll('tbody th')].flatMap(cell => {
            const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT), found = [];
            for (let node = walk.nextNode(); node; node = walk.nextNode()) {
                for (const word of node.data.matchAll(/[^\\s-]+/g)) {
                    if (word[0].length > 15) continue;
                    const range = document.createRange();
                    range.setStart(node, word.index);
                    range.setEnd(node, word.index + word[0].length);
                    if (new Set([...range.getClientRects()].map(box => box.top)).size > 1) found.push(word[0]);
                }
            }
            return found; })"""
    )
    assert opened.page.locator("tbody th:visible").count() > 100
    assert broken == []


def test_folds_close_again_after_printing(browser: Browser, review_file: Path) -> None:
    opened = Opened(browser, review_file)
    opened.page.wait_for_selector("html.ready")
    opened.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert opened.page.locator("details:not([open])").count() == 0
    assert opened.page.locator(".plot.drawn").count() == PLOTS
    opened.page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert opened.page.locator("details[open]").count() == 0


def test_without_a_way_to_unpack_the_pictures_the_tables_stand(
    browser: Browser, review_file: Path, tmp_path: Path
) -> None:
    old = tmp_path / "old.html"
    text = review_file.read_text(encoding="utf-8")
    old.write_text(re.sub(r'(id="plotly-packed">)[^<]+', r"\1AAAA", text), encoding="utf-8")
    opened = Opened(browser, old)
    opened.until("!document.documentElement.classList.contains('draws')")
    assert opened.page.locator(".plot:visible").count() == 0
    assert opened.page.locator("svg.glyph:visible").count() > 40
    assert opened.page.locator("#what-if:visible").count() == 1, "the calculator needs no picture"
