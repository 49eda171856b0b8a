"""The review of a system: its page, its numbers, its traces, and names and places that must not do harm."""

from __future__ import annotations

import csv
import json
import re
import shutil
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from handling_review.cli import main
from handling_review.combine.reading import read_all
from handling_review.evidence import system
from handling_review.evidence.aggregates import TOGETHER, Aggregates, Cell, as_json
from handling_review.evidence.tally import ALL_SERIES
from handling_review.page.system import _findings
from handling_review.page.words import system as words
from handling_review.trace.output import Output
from handling_review.trace.system import _Review, one, told
from spec.page_walk import Walk
from spec.plain_english import grade
from spec.test_page_numbers import Page, check_hovers, check_keyed, check_prose
from whole.test_combine import facility, written

HARDEST, LONGEST, FEWEST_WORDS = 12.0, 40, 12  # as in spec/test_page_readability.py
NAMES = ("Ash", "Beech", "Cherry", "Damson", "Elder", "Fir")
SYSTEMS: dict[str, list[Aggregates]] = {
    "three": [facility(name, *counts) for name, counts in zip(NAMES, ((4, 8), (6, 10), (5, 12)), strict=False)],
    "lower": [facility(name, 20, 60) for name in NAMES],
    "higher": [facility(name, 60, 20) for name in NAMES],
    "both ways": [facility(name, *counts) for name, counts in zip(NAMES, ((10, 60), (60, 10)) * 3, strict=True)],
    "two": [facility("Ash", 4, 8), facility("Beech", 6, 10)],
    "no case": [facility(name, 0, 0) for name in NAMES],
    "one side": [facility(name, 0, 5) for name in NAMES],
    "no hours after": [
        replace(facility("Ash", 0, 7), cells=tuple(c for c in facility("Ash", 0, 7).cells if c.phase == "before")),
        facility("Beech", 6, 10),
        facility("Cherry", 0, 0),
        facility("Damson", 2, 9),
    ],
    "cases without hours": [
        replace(facility("Ash", 3, 7), cells=tuple(replace(c, hours=0.0) for c in facility("Ash", 3, 7).cells)),
        facility("Beech", 6, 10),
        facility("Cherry", 7, 9),
        facility("Damson", 2, 9),
    ],
    "one far out": [facility(name, 20, 20) for name in NAMES[:5]] + [facility("Fir", 90, 90)],
}  # fmt: skip


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("systems")
    outs = {}
    for name, found in SYSTEMS.items():
        out = folder / f"{name} out"
        assert main(["combine", *written(folder / name, *found), "--out", str(out), "--name", "Larkfield"]) == 0
        outs[name] = out
    return outs


def page_of(out: Path) -> Page:
    with (out / "tables" / "numbers.csv").open(encoding="utf-8", newline="") as stream:
        published = {
            row["key"]: (float(row["value"]) if row["value"] else None, row["shown"]) for row in csv.DictReader(stream)
        }
    return Page(Walk((out / "system-review.html").read_text(encoding="utf-8")), published, (*NAMES, "0.1.0"))


@pytest.mark.parametrize("name", SYSTEMS)
def test_every_number_on_the_page_is_published(built: dict[str, Path], name: str) -> None:
    page = page_of(built[name])
    assert check_keyed(page) >= 60
    assert check_prose(page) >= 30
    assert name == "no case" or check_hovers(page) > 10


@pytest.mark.parametrize("name", SYSTEMS)
def test_every_number_can_be_traced_and_every_formula_gives_it(built: dict[str, Path], name: str) -> None:
    worked = summed = 0
    with Output(built[name]) as output:
        assert output.is_system
        review = _Review(output)
        for key, number in output.numbers.items():
            text = one(output, key)
            assert text.startswith(f"{key}\n")
            assert number.shown in text
            found = told(review, key)
            if found.formula is not None and found.formula.is_given:
                result = found.formula.result()
                assert np.isnan(result) if number.value is None else result == pytest.approx(number.value, rel=1e-9)
                worked += 1
            elif found.method is None and number.unit in ("cases", "hours") and found.parts:
                total = sum(part.cases if number.unit == "cases" else part.hours for part in found.parts)
                assert total == pytest.approx(number.value, rel=1e-9), key
                summed += 1
    assert worked >= 8 or name in ("no hours after", "cases without hours", "two")
    assert summed >= 20


def test_trace_and_verify_by_the_command(built: dict[str, Path], capsys: pytest.CaptureFixture[str]) -> None:
    out = str(built["three"])
    assert main(["trace", out, "cases_after/system/handling"]) == 0
    said = capsys.readouterr().out
    assert "shown as   15" in said
    assert "Ash, after, recordable injuries from handling clients: 4 cases in 400,000.0000 hours" in said
    assert "trace FOLDER cases/facility/after/handling" in said
    assert main(["trace", out, "--list", "pooled_average"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 12, (
        "four series; without a case of the fifth there is nothing to pool"
    )
    assert main(["trace", out, "nothing"]) == 2
    assert main(["verify", out]) == 5
    assert "this is a combined review" in capsys.readouterr().err


@pytest.mark.parametrize("name", SYSTEMS)
def test_the_words_are_plain(built: dict[str, Path], name: str, tmp_path: Path) -> None:
    found = system.gather(SYSTEMS[name])
    texts = [sentence.text for sentence in (words.CAUTION, words.RESTRICTED, *words.handed_on(found))]
    for finding in _findings(found):
        texts += [sentence.text for sentence in (*finding.says, *finding.how)]
        texts += [picture.description.text for picture in finding.pictures]
        whole = grade(" ".join(sentence.text for sentence in finding.says), NAMES)
        assert whole.mean <= 10, finding.id
    for text in texts:
        read = grade(text, NAMES)
        assert read.words < FEWEST_WORDS or read.mean <= HARDEST, text
        assert read.longest <= LONGEST, text
    page = (built[name] / "system-review.html").read_text(encoding="utf-8")
    plain = re.sub(r"<(script|style).*?</\1>", " ", page, flags=re.DOTALL)
    assert not re.search(r"\bsignifican|\bscore\b|\btarget\b|\bunits?\b(?! and phase)", plain)


WAYS = {
    "three": ("cannot tell whether the rate of handling injuries changed", "With so few facilities", "If one ratio"),
    "lower": ("the rate of handling injuries was lower after training", "lower in 6 facilities (Ash, Beech"),
    "higher": ("the rate of handling injuries was higher after training", "higher in 6 facilities"),
    "both ways": ("differ beyond chance", "Facilities point both ways"),
    "two": ("That is too little to say how facilities differ.", "If one ratio held in all of them"),
    "no case": ("nothing can be pooled", "6 facilities have fewer than 5 cases on a side"),
    "one side": ("That is too little to say how facilities differ.", "it would be 0.00 (likely between 0.00 and 0.1"),
    "no hours after": ("2 facilities have no hours on one side, or no case at all", "1 facility has no hours on one"),
    "cases without hours": ("1 facility has no hours on one side, or no case"),
    "one far out": ("In the funnel Fir lies beyond the outer limits.", "a question to ask, not a mark"),
}


@pytest.mark.parametrize("name", SYSTEMS)
def test_each_shape_of_answer_is_said(built: dict[str, Path], name: str) -> None:
    text = " ".join(block.text for block in page_of(built[name]).walk.blocks)
    for said in WAYS[name]:
        assert said in text, text[:3000]


def test_facilities_without_hours_on_a_side_are_not_in_the_sums(built: dict[str, Path]) -> None:
    table = pd.read_csv(built["cases without hours"] / "tables" / "pooled_ratios.csv").set_index("series")
    assert (table.loc["handling", "cases_after"], table.loc["handling", "cases_before"]) == (15, 28)
    assert table.loc["handling", "facilities"] == 3


HOSTILE = (
    "<script>alert(1)</script>",
    "=HYPERLINK(\"http://x\",\"y\")",
    "$\\\\alpha$ & </title> Hospital unit",
    "{{ 7 * 7 }} \u202eesrever",
)  # fmt: skip


def test_names_with_markup_and_formulas_stay_names(tmp_path: Path) -> None:
    paths = []
    for i, name in enumerate(HOSTILE):
        path = tmp_path / f"{i}.json"
        path.write_text(as_json(facility(name, 6 + i, 12)), encoding="utf-8")
        paths.append(str(path))
    out = tmp_path / "out"
    assert main(["combine", *paths, "--out", str(out), "--name", "<b>All</b> \x1b[31m"]) == 0
    page = (out / "system-review.html").read_text(encoding="utf-8")
    walk = Walk(page)
    assert "alert(1)" in " ".join(block.text for block in walk.blocks)
    assert not [tag for tag, _ in walk.tags if tag == "b"]
    assert "<script>alert" not in page
    assert "{{ 7 * 7 }}" in page
    assert "\u202e" not in page
    assert "\x1b" not in page
    for path in (out / "tables").glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as stream:
            assert not [cell for row in csv.reader(stream) for cell in row if cell.startswith("=")]
    with Output(out) as output:
        keys = [key for key in output.numbers if key.startswith("cases/facility:")]
        assert len(keys) == 12
        assert all(key in one(output, key) for key in keys)


def test_a_facility_and_a_system_do_not_replace_each_other(
    sample_review: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    review = Path(shutil.copytree(sample_review[1], tmp_path / "demo"))
    before = (review / "manifest.json").read_bytes()
    paths = written(tmp_path / "in", *SYSTEMS["three"])
    assert main(["combine", *paths, "--out", str(review)]) == 5
    assert "this is the review of a facility" in capsys.readouterr().err
    assert (review / "manifest.json").read_bytes() == before
    out = tmp_path / "system"
    assert main(["combine", *paths, "--out", str(out)]) == 0
    assert main(["combine", *paths, "--out", str(out)]) == 0, "a combination replaces the last one"
    assert main(["demo", str(out)]) == 5
    assert "combined review of several facilities" in capsys.readouterr().err
    assert (out / "system-review.html").exists()
    assert main(["combine", *paths, "--out", str(out), "--name", " \u200b"]) == 2


def test_an_aggregates_file_changed_by_hand_is_found_by_verify(
    sample_review: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(sample_review[1], tmp_path / "demo")
    file = tmp_path / "demo" / "facility-aggregates.json"
    assert main(["verify", str(tmp_path / "demo")]) == 0
    told = json.loads(file.read_text(encoding="utf-8"))
    assert "safety office of the health system only" in told["restricted"]
    told["cells"][0][4] += 1
    file.write_text(json.dumps(told), encoding="utf-8")
    capsys.readouterr()
    assert main(["verify", str(tmp_path / "demo")]) == 1
    assert "facility-aggregates.json" in capsys.readouterr().out


def simulated(k: int) -> list[Aggregates]:
    """Facilities of very different size with a true ratio of 0.6 in the middle, spread 0.2; some have thousands of
    cases, as no hospital has, so that the time is an upper one."""
    draw = np.random.default_rng(200)
    found = []
    for i in range(k):
        hours = float(np.round(np.exp(draw.uniform(np.log(1e5), np.log(2e7)))))
        rate, ratio = draw.uniform(3, 15) / 200_000, np.exp(np.log(0.6) + 0.2 * draw.standard_normal())
        cells = []
        for phase, times in (("before", 1.0), ("after", ratio)):
            handling, other = int(draw.poisson(rate * times * hours)), int(draw.poisson(rate * hours / 2))
            dart = int(draw.binomial(handling + other, 0.6))
            n = {
                "handling": handling, "non_handling": other, "recordable": handling + other, "dart": dart,
                "days_away": int(draw.binomial(dart, 0.6)), "first_aid": int(draw.poisson(rate * hours)),
            }  # fmt: skip
            cells += [Cell(series, TOGETHER, TOGETHER, phase, n[series], hours) for series in ALL_SERIES]
        found.append(facility(f"Facility {i:03}", 0, 0, cells=tuple(cells)))
    return found


def test_two_hundred_facilities_take_under_twenty_seconds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    for i, found in enumerate(simulated(200)):
        (folder / f"{i}.json").write_text(as_json(found), encoding="utf-8")
    start = time.perf_counter()
    assert main(["combine", str(folder), "--out", str(tmp_path / "out")]) == 0
    taken = time.perf_counter() - start
    table = pd.read_csv(tmp_path / "out" / "tables" / "pooled_ratios.csv").set_index("series").loc["handling"]
    with capsys.disabled():
        total = table["cases_after"] + table["cases_before"]
        print(f"\n200 facilities, {total:,} handling cases: {taken:.1f} s, average {table['average_rate_ratio']:.3f}")
    assert taken < 20
    assert table["average_rate_ratio_lower_95"] < 0.6 < table["average_rate_ratio_upper_95"]
    assert table["spread_of_log_ratio"] == pytest.approx(0.2, abs=0.05)
    assert table["average_rate_ratio_upper_95"] / table["average_rate_ratio_lower_95"] < 1.1
    page = Walk((tmp_path / "out" / "system-review.html").read_text(encoding="utf-8"))
    assert "There are too many facilities to draw each." in " ".join(block.text for block in page.blocks)
    assert len(read_all([folder])) == 200
