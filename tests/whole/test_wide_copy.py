"""The option --wide-copy: the file, the manifest, no stale copy, what the page says and what it leaves out."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import pytest

from handling_review.cli import main
from handling_review.evidence import wide
from handling_review.evidence.actions import Candidate
from handling_review.evidence.contrast import LOWER, Estimate
from handling_review.evidence.ladder import Rung
from handling_review.evidence.numbers import count, hours, ratio
from handling_review.evidence.panel import ADJUSTED, BEFORE_AFTER
from handling_review.page.wide import render_wide
from handling_review.page.words import wide as words
from handling_review.program import Thresholds
from spec import made_up_tables as made_up
from whole import facility
from whole.wide_attack import read
from whole.wide_facilities import drawn, reviewed

WIDE = "program-review-wide.html"


def test_the_option_writes_the_copy_and_a_build_without_it_leaves_none(tmp_path: Path) -> None:
    program, out = facility.write(tmp_path / "hand"), tmp_path / "out"
    assert main(["build", str(program), "--out", str(out), "--wide-copy"]) == 0
    first = (out / WIDE).read_bytes()
    assert WIDE in json.loads((out / "manifest.json").read_text(encoding="utf-8"))["outputs"]
    assert main(["build", str(program), "--out", str(out), "--wide-copy"]) == 0
    assert (out / WIDE).read_bytes() == first, "the same to the byte"
    assert main(["build", str(program), "--out", str(out)]) == 0
    assert not (out / WIDE).exists()
    assert WIDE not in json.loads((out / "manifest.json").read_text(encoding="utf-8"))["outputs"]


def page_of(seed: int = 5, below: int = 5) -> tuple[str, wide.Wide]:
    program = dataclasses.replace(made_up.program(), thresholds=Thresholds(privacy_cell=below))
    tables = drawn(seed)
    review = reviewed(tables, program)
    found = wide.gather(tables, review)
    return render_wide(review, found), found


def test_the_page_is_sound_html_without_scripts_or_anything_from_elsewhere() -> None:
    html, _ = page_of()
    page = read(html)
    assert '<html lang="en">' in html
    assert "<title>Safe-handling program review for all readers: " in html
    assert html.count("<h1>") == 1
    assert [tag for tag, _, _ in page.attributes].count("caption") == 0
    assert len(page.tables) == html.count("<table") == html.count("<caption>") >= 6
    assert all(name not in ("src", "onclick", "onload", "data-key", "value") for _, name, _ in page.attributes)
    assert all(value.startswith("#") for _, name, value in page.attributes if name == "href")
    assert page.scripts == []
    assert html.count("<th scope=") >= html.count("<tr>")


def test_hidden_cells_say_so_in_one_word_and_one_footnote_explains_it() -> None:
    html, found = page_of()
    assert found.hides
    cells = [row.cells for rows in read(html).tables.values() for row in rows if "not shown*" in row.cells]
    assert len(cells) == len(found.suppression.hidden) + (f"{wide.ALL_YEARS}/handling" in found.suppression.hidden)
    assert all(one[2:4] == ["not shown*", ""] and one[4].strip() == "" for one in cells)
    assert html.count('id="rule"') == 1
    assert "a count of 1 to 4 people or cases could point at somebody" in html
    for word in ("primary", "complementary", "suppress", "significant"):
        assert word not in html.lower()


def test_the_threshold_of_the_program_file_is_the_one_that_counts() -> None:
    html, found = page_of(below=11)
    assert "a count of 1 to 10 people or cases" in html
    assert found.below == 11
    bare, none = page_of(below=1)
    assert none.suppression.hidden == frozenset()
    assert "not shown*" not in bare
    assert "sets no smallest count" in bare


def test_without_a_complete_quarter_the_page_says_so() -> None:
    tables = made_up.drawn(
        "quarter phase hours handling non_handling\n2025-Q1 before 1000 3 1", gaps={"2025-Q1": "hours are missing"}
    )
    program = made_up.program()
    review = reviewed(tables, program)
    found = wide.gather(tables, review)
    assert found.series == ()
    assert "No quarter is complete yet, so no rate can be printed." in render_wide(review, found)


def rung(design: str, now: int, then: int) -> Rung:
    estimate = Estimate(ratio("r", 0.5), ratio("l", 0.3), ratio("u", 0.8))
    return Rung(
        "k", design, "a design", "handling", estimate, None,
        count("a", now), hours("b", 100_000), count("c", then), hours("d", 100_000),
        0.2, ratio("e", 1.0), LOWER, now < 5 or then < 5, True, (), "",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("answer", "says", "leaves_out"),
    [
        (wide.COUNTS_AND_RATIO, ("20 cases in 100,000 hours", "0.50"), ()),
        (wide.RATIO_ONLY, ("was lower with the program", "0.50", "likely between 0.30 and 0.80"), ("20 cases",)),
        (wide.NOT_SHOWN, ("rests on counts that this copy does not show",), ("0.50", "lower", "cases")),
    ],
)
def test_as_much_of_the_answer_is_told_as_can_be_shown(
    answer: str, says: tuple[str, ...], leaves_out: tuple[str, ...]
) -> None:
    tables = drawn(5)
    review = reviewed(tables, made_up.program())
    lead = rung(ADJUSTED if answer == wide.RATIO_ONLY else BEFORE_AFTER, 20, 30)
    ladder = dataclasses.replace(review.answer.ladder, rungs=(lead,), primary=lead.design, performance=None)
    review.answer.ladder = ladder  # type: ignore[misc]
    found = dataclasses.replace(wide.gather(tables, reviewed(tables, made_up.program())), answer=answer)
    text = " ".join(one.text for one in words.answer_sentences(found, review))
    assert all(part in text for part in says)
    assert not any(part in text for part in leaves_out)


def test_actions_that_tell_of_cases_are_left_out_and_units_only_if_named_anyway() -> None:
    tables = drawn(5)
    review = reviewed(tables, made_up.program())
    found = dataclasses.replace(wide.gather(tables, review), standing_out=(("Unit B", "higher"),))
    kinds = (
        "walk_through",
        "use_equipment",
        "ask_where_it_rises",
        "settle_unclassified",
        "put_right",
        "review_findings",
    )
    review.actions = tuple(  # type: ignore[misc]
        Candidate(kind, "units", ("Unit A", "Unit B"), (count("x", 2), count("y", 3))) for kind in kinds
    )
    said = [one.text for one in words.action_sentences(found, review)]
    assert len(said) == 1
    assert "Unit B" in said[0]
    assert "Unit A" not in said[0]
