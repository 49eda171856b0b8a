"""A page opened in Chromium with all that it says and asks for, and axe-core put into it from the test's own folder."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"


def chromium_path() -> str:
    for name in ("chromium", "chromium-browser", "google-chrome", "chrome"):
        found = shutil.which(name)
        if found:
            return found
    pytest.fail("No Chromium on this machine: install one (for example the chromium package) to run the browser tests.")


@cache
def axe_source() -> str:
    """The text of axe-core, as the lock file beside this module pins it."""
    if not AXE.is_file():
        how = "npm ci --ignore-scripts --prefix tests/browser"
        lacks = "" if shutil.which("npm") else " There is no npm either: install it first (Debian: nodejs and npm)."
        pytest.fail(f"axe-core is not there: run `{how}` to run the accessibility tests.{lacks}")
    return AXE.read_text(encoding="utf-8")


class Opened:
    """A page with everything it said and asked for."""

    def __init__(
        self, browser: Browser, path: Path, width: int = 1280, height: int = 900, *, address: str = "", **context: Any
    ) -> None:
        self.context = browser.new_context(viewport={"width": width, "height": height}, offline=not address, **context)
        self.page: Page = self.context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("dialog", lambda dialog: (self.said.append(f"dialog {dialog.message}"), dialog.dismiss()))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(address or path.as_uri())

    def draw_all(self) -> int:
        """Bring every picture into view; gives their number."""
        self.page.wait_for_selector("html.ready")
        plots = self.page.locator(".plot")
        count = plots.count()
        for index in range(count):
            plots.nth(index).scroll_into_view_if_needed()
        self.until(f"document.querySelectorAll('.plot.drawn').length === {count}")
        return count

    def until(self, condition: str) -> None:
        """Wait for a condition; asked from outside, because the page's own policy forbids evaluating text."""
        for _ in range(100):
            if self.page.evaluate(condition):
                return
            self.page.wait_for_timeout(100)
        pytest.fail(f"never came true: {condition}")

    def open_folds(self) -> None:
        """Open every fold of the page."""
        self.page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")

    def asked_elsewhere(self) -> list[str]:
        """Requests for anything but the page itself."""
        return [url for url in self.asked[1:] if not url.startswith(("data:", "blob:"))]
