"""Page one names the unit whose rate has doubled, and says that nothing stands out where nothing has changed."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from handling_review import review
from handling_review.program import read_program
from whole import steady_facility

DAY = date(2026, 6, 30)


def stands_out(program: Path, out: Path) -> str:
    """The text under "What stands out" on page one."""
    page = review.build(read_program(program), DAY, out).page.read_text(encoding="utf-8")
    found = re.search(r'<h2 id="out">What stands out</h2>(.*?)</section>', page, flags=re.DOTALL)
    assert found is not None
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", found[1])).strip()


def test_a_unit_that_doubles_in_the_last_two_quarters_is_named_on_page_one(tmp_path: Path) -> None:
    program = steady_facility.write(tmp_path / "files", seed=3, changed="Unit 3", times=2.0, rate_per_200k=40)
    text = stands_out(program, tmp_path / "out")
    assert "The early warning of a doubled rate speaks in Unit 3" in text
    assert "Nothing stands out" not in text
    page = (tmp_path / "out" / "program-review.html").read_text(encoding="utf-8")
    assert "Ask the people of Unit 3 now what has changed" in page


@pytest.mark.parametrize("seed", [3, 5])
def test_where_nothing_changes_nothing_stands_out(tmp_path: Path, seed: int) -> None:
    program = steady_facility.write(tmp_path / "files", seed=seed)
    text = stands_out(program, tmp_path / "out")
    assert text.startswith(
        "Nothing stands out. In the latest two quarters the facility&#39;s chart and the early warnings are silent. "
        "No unit differs from the others beyond chance."
    )


def test_a_unit_with_next_to_no_injuries_for_two_years_is_told_beside_its_chart(tmp_path: Path) -> None:
    program = steady_facility.write(
        tmp_path / "files", seed=3, changed="Unit 3", times=0.1, last_quarters=8, rate_per_200k=40
    )
    stands_out(program, tmp_path / "out")
    page = (tmp_path / "out" / "program-review.html").read_text(encoding="utf-8")
    assert "the chart of Unit 3 points to fewer injuries than before" in re.sub("<[^>]+>", "", page)
