"""Make the picture of page one that README.md shows, from a fresh review of the sample facility.

Run: python tests/bench/page_one_picture.py   (needs Chromium on the machine)
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from handling_review.cli import main

PICTURE = Path(__file__).resolve().parents[2] / "sample_data" / "page-one.png"
SHEET = {"width": 940, "height": 1270}  # a US Letter sheet in screen proportions


def make() -> None:
    """Build the demo in a temporary folder and photograph its first sheet as it is printed."""
    browser_path = shutil.which("chromium") or shutil.which("google-chrome")
    if browser_path is None:
        raise SystemExit("No Chromium on this machine.")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        out = Path(folder) / "review"
        if main(["demo", str(out)]) != 0:
            raise SystemExit("The demo did not build.")
        browser = play.chromium.launch(executable_path=browser_path, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport=SHEET, color_scheme="light")
        page.emulate_media(media="print")
        page.goto((out / "program-review.html").as_uri())
        page.wait_for_timeout(1500)
        page.add_style_tag(content="body { padding: 20px 24px }")
        end = page.locator("nav.contents").bounding_box()
        height = end["y"] if end else SHEET["height"]
        page.screenshot(path=str(PICTURE), clip={"x": 0, "y": 0, "width": SHEET["width"], "height": height})
        browser.close()


if __name__ == "__main__":
    make()
