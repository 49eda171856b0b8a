"""Weight and speed of the page of a big made-up facility: 12 units, 38 quarters, every picture that can be picked.

``python tests/bench/page_speed.py [FOLDER] [--times 5]`` builds the review into FOLDER if it is not there yet, loads it
in headless Chromium so many times, and prints the medians. Times are from the start of the navigation: words on the
screen (first contentful paint), document ready, the first picture drawn after a jump to it, and a figure typed into
the calculator and answered. Run it on a machine that does nothing else.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
from dataclasses import replace
from datetime import date
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from handling_review.program import read_program
from handling_review.review import build
from handling_review.simulate import Plan, simulate, write
from handling_review.simulate.plan import QUILLMERE_UNITS

sys.path.insert(0, str(Path(__file__).parents[1]))
from browser.opened import ARGUMENTS, chromium_path

LIMIT_MB, LIMIT_SECONDS = 8.0, 2.0
PAINTED = "() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0"
READY = "() => performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd"
DRAWN = """() => new Promise(done => { const plot = document.querySelector('.plot'); plot.scrollIntoView();
    const look = () => plot.classList.contains('drawn') ? done(performance.now()) : requestAnimationFrame(look);
    look(); })"""
TYPED = """() => new Promise(done => { const field = document.getElementById('what-if-reduction'); field.focus();
    field.value = '21'; field.dispatchEvent(new Event('input')); requestAnimationFrame(() =>
    done(performance.now())); })"""


def big_facility(folder: Path) -> Path:
    """Write the facility and build its review; gives the page."""
    again = [
        replace(unit, unit=f"{unit.unit} 2", name=f"{unit.name}, wing 2", alias="", former_name="", renamed_on=None)
        for unit in QUILLMERE_UNITS[:5]
    ]
    plan = Plan(units=(*QUILLMERE_UNITS, *again), staff=600, start=date(2017, 1, 1), mess=False)
    write(simulate(plan), folder / "exports")
    program = read_program(folder / "exports" / "program.toml")
    return build(program, date(2026, 10, 10), folder / "review").page


def loads(browser: Browser, page_file: Path, times: int) -> list[tuple[float, ...]]:
    """Seconds of each load: painted, ready, first picture drawn, typed."""
    found = []
    for _ in range(times):
        context = browser.new_context(viewport={"width": 1280, "height": 900}, offline=True)
        page = context.new_page()
        page.goto(page_file.as_uri(), wait_until="domcontentloaded")
        drawn = page.evaluate(DRAWN)
        typed = page.evaluate(TYPED)
        found.append(tuple(value / 1000 for value in (page.evaluate(PAINTED), page.evaluate(READY), drawn, typed)))
        context.close()
    return found


def main() -> int:
    """Measure and print; 1 where a limit is passed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path)
    parser.add_argument("--times", type=int, default=5)
    asked = parser.parse_args()
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="page-speed-"))
    page_file = folder / "review" / "program-review.html"
    if not page_file.is_file():
        page_file = big_facility(folder)
    text = page_file.read_text(encoding="utf-8")
    weight = page_file.stat().st_size / 1e6
    shown, choices = text.count('<div class="plot"'), text.count('<script type="application/json" id="data-')
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium_path(), args=list(ARGUMENTS))
        rows = loads(browser, page_file, asked.times)
    print(f"{weight:.2f} MB; {shown} pictures, {choices} with those that can be picked; {text.count('<table')} tables")
    worst = 0.0
    for name, values in zip(("painted", "ready", "first picture", "typed"), zip(*rows, strict=True), strict=True):
        print(f"{name:<14} median {statistics.median(values):.2f} s, from {min(values):.2f} to {max(values):.2f}")
        worst = max(worst, statistics.median(values))
    return int(weight > LIMIT_MB or worst > LIMIT_SECONDS)


if __name__ == "__main__":
    sys.exit(main())
