"""Hostile texts in every file and setting, built by the command line: nothing runs, nothing breaks, all is readable."""

from __future__ import annotations

import csv
import json
import re
import stat
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from browser import hostile
from browser.opened import Opened
from handling_review.cli import main
from handling_review.visible import printable

pytestmark = pytest.mark.browser
OVERFLOWS = """width => [...document.querySelectorAll('body *')].filter(e => !e.closest('.scroll, svg, .skip, .unseen')
    && e.getBoundingClientRect().right > width + 1).map(e => e.outerHTML.slice(0, 90))"""


@pytest.mark.parametrize("width", [1280, 320])
def test_nothing_from_the_data_runs_asks_or_overflows(browser: Browser, hostile_file: Path, width: int) -> None:
    opened = Opened(browser, hostile_file, width)
    page = opened.page
    count = opened.draw_all()
    opened.open_folds()
    for number in range(page.locator(".picker select").count()):
        pick = page.locator(".picker select").nth(number)
        for option in range(pick.locator("option").count()):
            pick.select_option(index=option)
            page.wait_for_timeout(60)
    for number in range(count):
        page.locator(".plot").nth(number).focus()
        page.keyboard.press("Home")
        page.wait_for_timeout(70)
    page.wait_for_timeout(300)
    assert page.evaluate(f"window.{hostile.SENTINEL}") is None
    assert opened.said == []
    assert opened.asked_elsewhere() == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(OVERFLOWS, width) == []
    foreign = page.locator(
        "body img, body iframe, body object, body a[href^='javascript'], svg a, math, plaintext, [onload]"
    )
    assert foreign.count() == 0
    assert page.locator("script").count() == page.locator("script[type], head script, body > script").count()
    titles = page.locator("figcaption").all_inner_texts()
    assert all(0 < len(title) < 320 for title in titles), titles


def test_texts_stand_as_they_were_written(browser: Browser, hostile_file: Path) -> None:
    page = Opened(browser, hostile_file).page
    heading = printable(page.locator("h1").inner_text()).replace("\n", "")
    assert heading == printable(hostile.FACILITY)
    assert printable(page.title()).count(hostile.SENTINEL) == 1
    names = {printable(text) for text in page.locator("tbody th").all_text_contents()}
    for wanted in hostile.NAMES.values():
        assert printable(" ".join(wanted.split())).replace("\x1b", "") in names or wanted.startswith("nan"), wanted
    text = page.locator("body").inner_text()
    assert "{{7*7}} {% raw %}" in text
    assert "49" not in re.findall(r"\b49\b(?= *\{%)", text)


def test_no_sign_that_turns_text_about_is_left_in_the_page(hostile_file: Path) -> None:
    text = hostile_file.read_text(encoding="utf-8")
    found = set(re.findall("[\u061c\u200e\u200f\u202a-\u202e\u2066\u2067\x00-\x08\x0b-\x1f\x7f-\x9f]", text))
    assert found == set()
    assert text.count("\u2068") == text.count("\u2069") > 0, "names from right to left are isolated"


def test_labels_of_pictures_show_markup_and_formulas_as_text(browser: Browser, hostile_file: Path) -> None:
    opened = Opened(browser, hostile_file)
    opened.draw_all()
    ticks = opened.page.evaluate(
        "[...document.querySelectorAll('#plot-units .ytick text')].map(t => t.textContent).join(' | ')"
    )
    assert "<ahref=" in ticks.replace(" ", "")
    assert "$\\frac" in ticks
    assert "…" in ticks, "long names are cut; the table has them whole"
    cut = opened.page.evaluate(
        """[...document.querySelectorAll('.plot')].flatMap(plot => { const p = plot.getBoundingClientRect();
            return [...plot.querySelectorAll('.infolayer text, .ytick text, .xtick text')].filter(t => { const b =
            t.getBoundingClientRect(); return b.width && (b.left < p.left - 1 || b.right > p.right + 1); })
            .map(t => [plot.id, t.textContent]); })"""
    )
    assert cut == []


def test_every_table_is_safe_to_open_in_a_spreadsheet(hostile_out: Path, tmp_path: Path) -> None:
    program = hostile_out.parent / "exports" / "program.toml"
    worklist = tmp_path / "list.csv"
    assert main(["worklist", str(program), "--out", str(worklist)]) == 0
    findings = tmp_path / "findings.csv"
    main(["check", str(program), "--findings", str(findings)])
    tables = [*hostile_out.rglob("*.csv"), worklist, findings]
    assert len(tables) > 20
    cells = 0
    for table in tables:
        with table.open(encoding="utf-8", newline="") as stream:
            rows = list(csv.reader(stream))
        assert len({len(row) for row in rows}) == 1, table
        for cell in (cell for row in rows for cell in row):
            cells += 1
            is_number = re.fullmatch(r"[-+]?[\d.]+(e[-+]?\d+)?|-?inf|nan", cell)
            assert is_number or not re.match("\\s*[=+\\-@|\t\r＝＋－＠]", cell), (table.name, cell)
            assert printable(cell) == cell, (table.name, cell)
    assert cells > 10_000
    assert stat.S_IMODE(worklist.stat().st_mode) == 0o600


def test_the_terminal_is_given_text_only(hostile_out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = hostile_out.parent / "exports" / "program.toml"
    main(["check", str(program)])
    main(["budget", str(program)])
    told = "".join(capsys.readouterr())
    assert hostile.SENTINEL in told
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", told)


def test_files_are_named_by_the_program_alone(hostile_out: Path) -> None:
    names = [path.relative_to(hostile_out).as_posix() for path in hostile_out.rglob("*")]
    assert all(
        re.fullmatch(r"[a-z_]+(/[a-z_]+\.csv|/[a-z0-9_.-]+\.parquet)?|[a-z-]+\.(html|csv|duckdb|json)", name)
        for name in names
    ), names
    assert json.loads((hostile_out / "manifest.json").read_text(encoding="utf-8"))["facility"]
