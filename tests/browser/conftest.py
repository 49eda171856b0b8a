"""One browser and the pages that the browser tests look at."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from browser import hostile
from browser.opened import ARGUMENTS, chromium_path
from handling_review.cli import main
from handling_review.page.build import render
from spec import made_up_tables as made_up


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=chromium_path(), args=list(ARGUMENTS))
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def review_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("review") / "program-review.html"
    path.write_text(render(made_up.review()), encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def sample_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The review of the sample facility, whose words are longer than those of the small made-up one."""
    out = tmp_path_factory.mktemp("sample") / "review"
    assert main(["demo", str(out)]) == 0
    return out / "program-review.html"


@pytest.fixture(scope="session")
def hostile_out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The output of a build of the sample facility with hostile texts, by the command line from CSV files."""
    folder = tmp_path_factory.mktemp("hostile")
    assert main(["build", str(hostile.write(folder / "exports")), "--out", str(folder / "out")]) == 0
    return folder / "out"


@pytest.fixture(scope="session")
def hostile_file(hostile_out: Path) -> Path:
    return hostile_out / "program-review.html"
