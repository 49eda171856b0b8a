"""The committed study of the designs: what it holds, what follows from it, and that the page reads it right."""

from __future__ import annotations

import csv
import io
from collections import defaultdict

import pytest

from handling_review import files
from handling_review.evidence import study
from handling_review.evidence.panel import LADDER, TREND_PROOF

FALLING = "no effect, falling"


def rows() -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files.read_text("reports", "design_study.csv"))))


def by_scenario() -> dict[str, dict[str, dict[str, str]]]:
    found: dict[str, dict[str, dict[str, str]]] = defaultdict(dict)
    for row in rows():
        found[row["scenario"]][row["design"]] = row
    return found


def test_every_scenario_holds_two_thousand_facilities_and_every_design() -> None:
    assert len(by_scenario()) >= 8
    for scenario, found in by_scenario().items():
        assert set(found) == {*LADDER, "chosen", "plain"}, scenario
        assert all(int(row["facilities"]) == 2000 for row in found.values()), scenario


def test_the_review_s_own_choice_rarely_claims_a_fall_that_is_only_a_trend() -> None:
    falling = {name: found for name, found in by_scenario().items() if name.startswith(FALLING)}
    assert len(falling) >= 4
    for name, found in falling.items():
        assert float(found["chosen"]["says_lower"]) <= 0.04, name


def test_plain_before_and_after_is_fooled_by_a_trend() -> None:
    steep = [found for name, found in by_scenario().items() if name.startswith(f"{FALLING} 10 %")]
    assert all(float(found["plain"]["says_lower"]) > float(found["chosen"]["says_lower"]) for found in steep)
    assert max(float(found["plain"]["says_lower"]) for found in steep) > 0.1  # with four times the staff


def test_the_rule_never_leads_with_a_design_that_the_study_shows_to_read_too_low() -> None:
    biased = [
        float(found["within_quarter"]["median_log_error"])
        for found in by_scenario().values()
        if float(found["within_quarter"]["effect"]) == 1
    ]
    assert max(biased) < -0.1, "new staff wait for their training in the same quarter"
    assert "within_quarter" not in TREND_PROOF
    assert all(float(found["within_quarter"]["picked"]) == 0 for found in by_scenario().values())


@pytest.mark.parametrize("design", TREND_PROOF)
def test_designs_that_a_trend_cannot_fool_cover_the_truth(design: str) -> None:
    for name, found in by_scenario().items():
        row = found[design]
        if row["coverage"] and "worst units" not in name and "reported" not in name:
            assert float(row["coverage"]) > 0.925, name


@pytest.mark.parametrize("design", LADDER)
def test_the_page_reads_the_worst_trend_and_the_worst_of_all(design: str) -> None:
    found = study.performance(design)
    assert found is not None
    idle = [row for row in rows() if row["design"] == design and float(row["effect"]) == 1]
    falling = [float(row["says_lower"]) for row in idle if float(row["yearly_change"]) < 0]
    assert found.trend_false_lower.value == max(falling)
    assert found.worst_false_lower.value == max(float(row["says_lower"]) for row in idle)
    assert found.chance_false_lower.value in [
        float(row["says_lower"]) for row in idle if "worst units first" in row["scenario"]
    ]


def test_a_design_that_is_not_in_the_study_has_no_performance() -> None:
    assert study.performance("no such design") is None
