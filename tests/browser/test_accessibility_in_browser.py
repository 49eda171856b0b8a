"""Accessibility (WCAG 2.2, A and AA): axe-core, the keyboard alone, Chromium's accessibility tree, and the rest."""

from __future__ import annotations

import functools
import http.server
import itertools
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from browser.opened import Opened, axe_source

pytestmark = pytest.mark.browser
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RUN = """async rules => { const found = await axe.run(document, { runOnly: { type: 'tag', values: rules } });
    const told = list => list.flatMap(rule => rule.nodes.map(node => {
        const element = document.querySelector(node.target[0]);
        return [rule.id, node.html.slice(0, 120), !!element.closest('.plot'), !!element.closest('.scroll')]; }));
    return [found.passes.length, told(found.violations), told(found.incomplete)]; }"""
STOPS = """() => [...document.querySelectorAll('a[href], summary, select, input, button, [tabindex="0"]')].filter(e =>
    e.checkVisibility({ contentVisibilityAuto: true, visibilityProperty: true }) && e.id !== 'main')
    .map((e, at) => { e.dataset.stop = at; return e.outerHTML.slice(0, 80); })"""
HERE = """() => { const e = document.activeElement, s = getComputedStyle(e), b = e.getBoundingClientRect();
    const left = Math.max(b.left, 0), right = Math.min(b.right, innerWidth);
    const top = Math.max(b.top, 0), bottom = Math.min(b.bottom, innerHeight);
    const at = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
    return [e.dataset.stop === undefined ? -1 : Number(e.dataset.stop),
        s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2,
        right > left && bottom > top && !!at && (e.contains(at) || at.contains(e) || at.closest('p,li,details') ===
        e.closest('p,li,details')), e.outerHTML.slice(0, 90)]; }"""


@pytest.fixture(scope="module")
def served(sample_file: Path) -> Iterator[str]:
    """The sample's page from a server on this machine, as a shared drive or an intranet would give it."""
    handler = functools.partial(_Quiet, directory=str(sample_file.parent))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/{sample_file.name}"
        server.shutdown()


class _Quiet(http.server.SimpleHTTPRequestHandler):
    def do_GET(self) -> None:
        if self.path == "/favicon.ico":  # browsers ask for it by themselves
            self.send_response(204)
            self.end_headers()
        else:
            super().do_GET()

    def log_message(self, format: str, *args: Any) -> None:
        pass


@pytest.mark.parametrize("folds", ["closed", "open"])
@pytest.mark.parametrize("width", [1280, 320])
@pytest.mark.parametrize("which", ["sample", "hostile"])
def test_axe_finds_nothing(
    browser: Browser, served: str, hostile_file: Path, which: str, width: int, folds: str
) -> None:
    """No violation. What axe cannot judge is the contrast of text in pictures and of cells scrolled out of sight."""
    address = served if which == "sample" else ""
    opened = Opened(browser, hostile_file, width, address=address, bypass_csp=True)
    if folds == "open":
        opened.open_folds()
    opened.draw_all()
    opened.page.evaluate(axe_source())
    passes, violations, incomplete = opened.page.evaluate(RUN, RULES)
    assert violations == []
    unexplained = [node for node in incomplete if node[0] != "color-contrast" or not (node[2] or node[3])]
    assert unexplained == []  # the contrast of both is computed in the test below and in test_review_in_browser
    assert passes >= 45
    assert opened.said == []


@pytest.mark.parametrize("folds", ["closed", "open"])
def test_the_keyboard_alone_reaches_everything_in_order(browser: Browser, sample_file: Path, folds: str) -> None:
    opened = Opened(browser, sample_file, reduced_motion="reduce")  # no smooth scrolling under way
    page = opened.page
    opened.draw_all()
    if folds == "open":
        opened.open_folds()
        page.wait_for_timeout(200)
    page.evaluate("window.scrollTo(0, 0)")
    wanted = page.evaluate(STOPS)
    reached = []
    for _ in range(len(wanted)):
        page.keyboard.press("Tab")
        stop, outlined, seen, what = page.evaluate(HERE)
        assert outlined, f"no focus is to be seen at {what}"
        assert seen, f"something covers {what}"
        reached.append(stop)
    assert reached == list(range(len(wanted)))
    kinds = {
        kind: sum(kind in text for text in wanted) for kind in ("<a", "<summary", "<select", "<input", 'class="plot')
    }
    assert all(kinds.values()), kinds
    assert kinds['class="plot'] == 18
    assert len(wanted) > 80
    page.keyboard.press("Shift+Tab")
    assert page.evaluate(HERE)[0] == len(wanted) - 2
    if folds == "closed":
        page.locator("summary").first.focus()
        page.keyboard.press("Enter")
        assert page.locator("details").first.get_attribute("open") is not None


def tree(page: Page) -> list[dict[str, Any]]:
    """Chromium's accessibility tree in reading order: role, name, description, level, depth."""
    nodes = page.context.new_cdp_session(page).send("Accessibility.getFullAXTree")["nodes"]
    by_id = {node["nodeId"]: node for node in nodes}
    found: list[dict[str, Any]] = []

    def walk(id: str, parents: tuple[str, ...]) -> None:
        node = by_id.get(id)
        if node is None:
            return
        role = node.get("role", {}).get("value", "")
        if not node.get("ignored"):
            values = {p["name"]: p["value"].get("value") for p in node.get("properties", [])}
            found.append(
                {
                    "role": role,
                    "name": node.get("name", {}).get("value", ""),
                    "description": node.get("description", {}).get("value", ""),
                    "level": values.get("level"),
                    "parents": parents,
                }
            )
            parents = (*parents, role)
        for child in node.get("childIds", []):
            walk(child, parents)

    walk(nodes[0]["nodeId"], ())
    return found


def test_the_accessibility_tree_makes_sense(browser: Browser, sample_file: Path) -> None:
    opened = Opened(browser, sample_file)
    opened.draw_all()
    opened.open_folds()
    opened.page.wait_for_timeout(200)
    nodes = tree(opened.page)
    roles = [node["role"] for node in nodes]
    assert [role for role in roles if role in ("banner", "navigation", "main")] == [
        *("banner", "navigation", "main", "navigation"),  # the last is the contents list, after page one
    ]
    levels = [int(node["level"]) for node in nodes if node["role"] == "heading"]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    headings = [node["name"] for node in nodes if node["role"] == "heading"]
    assert headings == [
        re.sub(r"\s+", " ", text).strip() for text in opened.page.locator("h1, h2, h3").all_text_contents()
    ]
    tables = [node for node in nodes if node["role"] == "table"]
    assert len(tables) == opened.page.locator("table").count() > 50
    assert all(node["name"] for node in tables)
    assert sum(role == "columnheader" for role in roles) == opened.page.locator("thead th").count()
    assert sum(role == "rowheader" for role in roles) == opened.page.locator("tbody th").count()
    for role in ("figure", "application"):
        found = [node for node in nodes if node["role"] == role]
        assert len(found) == 18
        assert all(node["name"] and node["description"] for node in found)
    inside = [node for node in nodes if "application" in node["parents"]]
    assert inside == [], "no loose texts of a drawing"


def test_the_order_of_reading_is_the_order_of_seeing(browser: Browser, sample_file: Path) -> None:
    for width in (1280, 320):
        opened = Opened(browser, sample_file, width)
        opened.draw_all()
        opened.open_folds()
        wrong = opened.page.evaluate(
            """() => { const all = [...document.querySelectorAll('h1, h2, h3, p, li, table, figure, summary, dt, dd')]
                .filter(e => e.checkVisibility() && !e.closest('.unseen') && e.getClientRects().length);
                const wrong = []; for (let i = 1; i < all.length; i++) { const a = all[i - 1], b = all[i];
                if (a.contains(b)) { continue; } const p = a.getBoundingClientRect(), q = b.getBoundingClientRect();
                if (q.bottom <= p.top + 1 && q.left < p.right - 1) { wrong.push([a.textContent.slice(0, 40),
                b.textContent.slice(0, 40)]); } } return wrong; }"""
        )
        assert wrong == [], width
        assert opened.page.locator("[tabindex]:not([tabindex='0']):not([tabindex='-1']), [aria-owns]").count() == 0
        assert opened.page.evaluate("document.documentElement.lang") == "en"


SPACING = """* { line-height: 1.5 !important; letter-spacing: 0.12em !important; word-spacing: 0.16em !important; }
    p { margin-bottom: 2em !important; }"""  # WCAG 2.2, 1.4.12


@pytest.mark.parametrize("width", [1280, 640, 320])  # 640: 200 % of 1280 (1.4.4); 320: 400 % (1.4.10)
@pytest.mark.parametrize("spaced", [False, True])
def test_wider_spacing_and_zoom_lose_nothing(browser: Browser, sample_file: Path, width: int, spaced: bool) -> None:
    opened = Opened(browser, sample_file, width, bypass_csp=True)
    opened.open_folds()
    opened.draw_all()
    if spaced:
        opened.page.add_style_tag(content=SPACING)
    opened.page.wait_for_timeout(200)
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= width
    cut = opened.page.evaluate(
        """() => [...document.querySelectorAll('body *')].filter(e => !e.closest('svg, .plot, .unseen, .skip, select')
            && getComputedStyle(e).overflowX !== 'visible' && !e.matches('.scroll, input')
            && (e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1))
            .map(e => e.outerHTML.slice(0, 80))"""
    )
    assert cut == []


def test_forced_colours_and_reduced_motion_are_kept(browser: Browser, review_file: Path) -> None:
    opened = Opened(browser, review_file, forced_colors="active", color_scheme="dark", reduced_motion="reduce")
    opened.draw_all()
    assert opened.page.evaluate("getComputedStyle(document.documentElement).scrollBehavior") == "auto"
    ink, paper = opened.page.evaluate(
        "(() => { const s = getComputedStyle(document.querySelector('p.says')); "
        "return [s.color, getComputedStyle(document.body).backgroundColor]; })()"
    )
    assert ratio(ink, paper) >= 7
    line = opened.page.evaluate("getComputedStyle(document.querySelector('.glyph .span')).stroke")
    assert ratio(line, paper) >= 3
    ground = opened.page.evaluate("getComputedStyle(document.querySelector('.plot .main-svg')).backgroundColor")
    text = opened.page.evaluate("getComputedStyle(document.querySelector('.plot text')).fill")
    assert ratio(text, ground) >= 4.5
    opened.page.keyboard.press("Tab")
    assert opened.page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    assert opened.said == []


def luminance(colour: str) -> float:
    """Relative luminance of an rgb() colour, WCAG 2.2."""
    channels = [int(c) / 255 for c in re.findall(r"\d+", colour)[:3]]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def ratio(one: str, other: str) -> float:
    """Contrast of two rgb() colours, WCAG 2.2."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


BAND = "rgb(230, 233, 236)"  # the grey of an incomplete quarter, #d5dbe0 at 60 % on white: the darkest ground there is


def test_text_and_lines_of_pictures_stand_out_from_their_ground(browser: Browser, sample_file: Path) -> None:
    # WCAG 2.2: 1.4.3, text 4.5 to 1; 1.4.11, what is needed to read a picture 3 to 1.
    opened = Opened(browser, sample_file)
    opened.draw_all()
    texts = opened.page.evaluate(
        "[...new Set([...document.querySelectorAll('.plot text')].map(t => getComputedStyle(t).fill))]"
    )
    assert texts
    assert all(ratio(colour, BAND) >= 4.5 for colour in texts), texts
    lines = opened.page.evaluate(
        """[...new Set([...document.querySelectorAll('.plot .scatterlayer path, .plot .barlayer path, .glyph *')]
            .map(p => getComputedStyle(p)).filter(s => s.stroke !== 'none' && parseFloat(s.strokeWidth) > 0
            && s.strokeOpacity !== '0').map(s => s.stroke))]"""
    )
    drawn = [colour for colour in lines if re.fullmatch(r"rgb\(\d+, \d+, \d+\)", colour)]
    assert len(drawn) >= 3
    assert all(ratio(colour, BAND) >= 3 for colour in drawn), drawn


@pytest.mark.parametrize("width", [1280, 320])
def test_every_target_is_large_or_has_room(browser: Browser, sample_file: Path, width: int) -> None:
    # WCAG 2.2, 2.5.8: 24 by 24 CSS pixels, or a circle of 24 around its middle that meets no other target's.
    # Links of terms stand in sentences, which the rule leaves out.
    opened = Opened(browser, sample_file, width)
    opened.draw_all()
    small = opened.page.evaluate(
        """() => { const all = [...document.querySelectorAll('a[href], summary, select, input, .plot')]
            .filter(e => e.checkVisibility() && !e.matches('.skip, a.term')).map(e => [e, e.getBoundingClientRect()]);
            return all.filter(([e, b]) => b.width < 24 || b.height < 24).filter(([e, b]) => {
                const x = b.left + b.width / 2, y = b.top + b.height / 2;
                return all.some(([other, o]) => other !== e && Math.hypot(Math.max(o.left - x, x - o.right, 0),
                    Math.max(o.top - y, y - o.bottom, 0)) < 12); }).map(([e]) => e.outerHTML.slice(0, 90)); }"""
    )
    assert small == []
