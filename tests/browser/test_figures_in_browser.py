"""Pictures by keyboard and pointer, on paper and without scripts, in Chromium."""

from __future__ import annotations

import html
import json
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from browser.opened import Opened

pytestmark = pytest.mark.browser
LABEL = "document.querySelectorAll('#{id} .hoverlayer .hovertext').length"
SPOKEN = "document.getElementById('spoken-point').textContent"
SHIFTS = """() => new Promise(done => { const found = []; new PerformanceObserver(list => { for (const one of
    list.getEntries()) { found.push(one.value); } }).observe({type: 'layout-shift', buffered: true});
    setTimeout(() => done(found), 300); })"""
POINTS = """plot => [...plot.querySelectorAll('.scatterlayer .point, .barlayer .point path')].map(p => {
    const b = p.getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]; })"""


def plots(page: Page) -> list[str]:
    found: list[str] = page.evaluate("[...document.querySelectorAll('.plot')].map(plot => plot.id)")
    return found


def label_of(page: Page, id: str) -> str:
    """The text of the label that is shown, its lines joined as they are spoken."""
    found: str = page.evaluate(
        """id => [...document.querySelectorAll('#' + id + ' .hoverlayer .hovertext text.nums')].map(text => {
            const lines = [...text.querySelectorAll('tspan.line')]; return (lines.length ? lines : [text])
            .map(line => line.textContent).join(', '); }).join(' | ')""",
        id,
    )
    return found


def test_every_picture_is_walked_through_by_keyboard_and_says_what_it_shows(
    browser: Browser, sample_file: Path
) -> None:
    opened = Opened(browser, sample_file)
    page = opened.page
    opened.draw_all()
    walked = 0
    for id in plots(page):
        page.locator(f"#{id}").focus()
        assert page.evaluate(f"getComputedStyle(document.getElementById('{id}')).outlineStyle") == "solid"
        page.keyboard.press("End")
        last = str(page.evaluate(SPOKEN))
        place = re.fullmatch(r"(.+) \((\d+) of (\d+)\)", last)
        assert place, (id, last)
        assert place[2] == place[3]
        page.keyboard.press("Home")
        said = [str(page.evaluate(SPOKEN))]
        for _ in range(min(int(place[3]) - 1, 40)):
            page.keyboard.press("ArrowRight")
            said.append(str(page.evaluate(SPOKEN)))
            assert page.evaluate(LABEL.format(id=id)) >= 1, (id, said[-1])
        assert [re.search(r"\((\d+) of", text)[1] for text in said] == [str(n) for n in range(1, len(said) + 1)]  # type: ignore[index]
        walked += len(said)
        page.keyboard.press("ArrowLeft")
        assert str(page.evaluate(SPOKEN)) == said[-2 if len(said) > 1 else 0]
        for _ in range(20):  # a label follows its key within a twentieth of a second
            if (shown := label_of(page, id)) and shown in str(page.evaluate(SPOKEN)):
                break
            page.wait_for_timeout(50)
        assert shown
        assert shown in str(page.evaluate(SPOKEN))
        page.keyboard.press("Escape")
        assert page.evaluate(LABEL.format(id=id)) == 0
        assert page.evaluate(SPOKEN) == ""
        assert page.evaluate("document.activeElement.id") == id
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.id") != id, "a picture keeps nobody"
    assert walked > 250
    assert opened.said == []


def test_a_label_stays_under_the_pointer_and_goes_at_escape(browser: Browser, review_file: Path) -> None:
    # WCAG 2.2, 1.4.13: hoverable, persistent, dismissible.
    opened = Opened(browser, review_file)
    page = opened.page
    opened.draw_all()
    plot = page.locator("#plot-designs")
    plot.scroll_into_view_if_needed()
    x, y = page.evaluate(f"({POINTS})(document.getElementById('plot-designs'))")[2]
    page.mouse.move(x, y)
    opened.until(LABEL.format(id="plot-designs") + " === 1")
    box = plot.locator(".hoverlayer .hovertext").bounding_box()
    assert box
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, steps=8)
    page.wait_for_timeout(200)
    assert page.evaluate(LABEL.format(id="plot-designs")) == 1
    page.keyboard.press("Escape")
    assert page.evaluate(LABEL.format(id="plot-designs")) == 0


def test_a_focus_draws_a_picture_that_was_not_near(browser: Browser, review_file: Path) -> None:
    opened = Opened(browser, review_file)
    page = opened.page
    page.wait_for_selector("html.ready")
    page.locator("#plot-due").focus()
    opened.until("document.getElementById('plot-due').classList.contains('drawn')")
    page.keyboard.press("Home")
    assert page.evaluate(SPOKEN) != ""


def test_nothing_moves_while_pictures_are_drawn(browser: Browser, sample_file: Path) -> None:
    for width in (1280, 320):
        opened = Opened(browser, sample_file, width)
        opened.draw_all()
        assert sum(opened.page.evaluate(SHIFTS)) < 0.01, width


def figures_of(page_file: Path) -> dict[str, dict[str, Any]]:
    text = page_file.read_text(encoding="utf-8")
    found = re.findall(r'<script type="application/json" id="data-([^"]+)">(.*?)</script>', text, re.S)
    return {id: json.loads(body) for id, body in found}


def test_without_scripts_all_that_is_said_on_hover_stands_in_the_tables_of_the_finding(
    browser: Browser, sample_file: Path
) -> None:
    """Pictures to be picked too: the tables, folded ones included, hold every figure of every unit."""
    opened = Opened(browser, sample_file, java_script_enabled=False)
    page = opened.page
    figures = figures_of(sample_file)
    text = sample_file.read_text(encoding="utf-8")
    checked = 0
    for section in re.findall(r'<section class="finding" id="[^"]+".*?</details>', text, re.S):
        shown = re.findall(r'id="plot-([^"]+)"', section)
        picked = re.findall(r'<option value="([^"]+)">', section)
        cells = re.sub(r"<[^>]+>", " ", "".join(re.findall(r"<table.*?</table>|<p.*?</p>", section, re.S)))
        printed = set(re.findall(r"\d+(?:,\d{3})*(?:\.\d+)?", html.unescape(cells)))
        for id in {*shown, *picked} & set(figures):
            for trace in figures[id]["data"]:
                for label in trace.get("hovertext") or []:
                    first, _, rest = label.partition("<br>")
                    rest = rest or first.rpartition(": ")[2]
                    rest = re.sub(r"(95|99\.8)% limits|90th percentile", "", rest)
                    for number in re.findall(r"\d+(?:,\d{3})*(?:\.\d+)?", rest):
                        assert number in printed, (id, label)
                        checked += 1
    assert checked > 900
    assert page.locator("figcaption:visible").count() == page.locator("figure").count()
    assert page.locator("figure:visible .plot:visible").count() == 0
    assert page.locator("table").count() > 50


def test_every_picture_prints_as_drawn_lines_and_not_as_dots(browser: Browser, sample_file: Path) -> None:
    opened = Opened(browser, sample_file)
    page = opened.page
    page.wait_for_selector("html.ready")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    drawn = page.evaluate(
        """[...document.querySelectorAll('.plot')].map(plot => { const b = plot.getBoundingClientRect();
            return [plot.id, b.height > 100, plot.querySelectorAll('canvas, image').length,
                plot.querySelectorAll('svg').length > 0]; })"""
    )
    assert [[*rest] for _, *rest in drawn] == [[True, 0, True]] * len(drawn), drawn


def test_a_drawn_picture_keeps_its_height_on_paper_and_its_width_on_the_screen(
    browser: Browser, sample_file: Path
) -> None:
    opened = Opened(browser, sample_file)
    page = opened.page
    opened.draw_all()
    sizes = """[...document.querySelectorAll('.plot.drawn')].map(plot => {
        const [, , width, height] = plot.querySelector('.main-svg').getAttribute('viewBox').split(' ').map(Number);
        return [plot.id, width - plot.clientWidth, height - parseFloat(plot.style.getPropertyValue('--tall'))]; })"""
    on_screen = page.evaluate(sizes)
    assert len(on_screen) > 10
    page.set_viewport_size({"width": 717, "height": 900})
    page.emulate_media(media="print")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    on_paper = page.evaluate(sizes)
    assert len(on_paper) == page.locator(".plot").count()
    assert [rest for _, *rest in on_paper] == [[0, 0]] * len(on_paper), on_paper
    page.emulate_media(media="screen")
    page.set_viewport_size({"width": 1280, "height": 900})
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert [rest for _, *rest in page.evaluate(sizes)] == [[0, 0]] * len(on_paper)
