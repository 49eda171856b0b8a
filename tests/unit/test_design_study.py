"""The committed study of the designs: what it holds, what follows from it, and that the page reads it right."""

from __future__ import annotations

import csv
import importlib
import io
from collections import defaultdict
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from handling_review import files
from handling_review.evidence import study
from handling_review.evidence.panel import LADDER, STARTED, STARTING, TREND_PROOF

BENCH = Path(__file__).parents[1] / "bench"
FALLING = "no effect, falling"
LARGE = ", four times the staff"
NEW_STAFF = "no effect, turnover and transfers, new staff hurt 3 times as often"
DROP = "no effect, all rates drop by a third as all start together"
WORST_FIRST = "no effect, worst units first"
UNREPORTED = "no effect, a third of injuries no longer reported from the start on"


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(BENCH))
    return importlib.import_module("designs")


@pytest.fixture
def facilities(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(BENCH))
    return importlib.import_module("design_facilities")


def rows() -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files.read_text("reports", "design_study.csv"))))


def by_scenario() -> dict[str, dict[str, dict[str, str]]]:
    found: dict[str, dict[str, dict[str, str]]] = defaultdict(dict)
    for row in rows():
        found[row["scenario"]][row["design"]] = row
    return found


def says_lower(scenario: str, design: str) -> float:
    return float(by_scenario()[scenario][design]["says_lower"])


def test_every_scenario_holds_two_thousand_facilities_and_every_design() -> None:
    assert len(by_scenario()) >= 8
    for scenario, found in by_scenario().items():
        assert set(found) == {*LADDER, "chosen", "plain"}, scenario
        assert all(int(row["facilities"]) == 2000 for row in found.values()), scenario


def test_the_table_says_what_the_shipped_figures_say(bench: ModuleType) -> None:
    assert (BENCH / "DESIGNS.md").read_text(encoding="utf-8") == bench.INTRO + bench.markdown(rows())
    assert list(by_scenario()) == [scenario.name for scenario in bench.SCENARIOS]


def test_the_same_seeds_give_the_same_facilities(bench: ModuleType) -> None:
    scenario = bench.SCENARIOS[0]
    first, again = (bench.summary(scenario, bench.many(scenario, range(20))) for _ in range(2))
    assert first == again
    assert first != bench.summary(scenario, bench.many(scenario, range(20, 40)))


def counts(facilities: ModuleType, scenario: object) -> tuple[float, float]:
    """Rate after over rate before by person, cases of 60 facilities added up, and the error of its logarithm."""
    sums = np.zeros(4)
    for seed in range(60):
        personal = facilities.facility(scenario, seed)[1]
        sums += [part.sum() for part in (personal.events1, personal.hours1, personal.events0, personal.hours0)]
    return sums[0] / sums[1] / (sums[2] / sums[3]), float(np.sqrt(1 / sums[0] + 1 / sums[2]))


@pytest.mark.parametrize(("effect", "comparison_units"), [(1.0, 0), (0.5, 2)])
def test_the_drawn_cases_fall_by_what_the_scenario_says(
    facilities: ModuleType, effect: float, comparison_units: int
) -> None:
    # Nothing else moves: no trend, new staff like the others, units that hardly differ. Four standard errors.
    scenario = facilities.Scenario(
        "", effect, comparison_units=comparison_units, new_hire_risk=1.0, unit_shape=1e6, size=4
    )
    ratio, error = counts(facilities, scenario)
    assert abs(np.log(ratio / effect)) < 4 * error
    assert error < 0.04


def test_the_true_ratio_is_that_of_the_scenario(facilities: ModuleType) -> None:
    for effect in (1.0, 0.5):
        truth = facilities.facility(facilities.Scenario("", effect), 1)[2]
        assert truth["person"] == pytest.approx(effect)
        # By the unit's start some hours are worked by people not trained: 8 % never are, and some wait.
        assert effect <= truth["unit"] <= effect + 0.15
    worn = facilities.facility(facilities.Scenario("", 0.5, decay_quarters=8.0), 1)[2]
    assert 0.55 < worn["person"] < 0.85


def test_no_hours_are_lost_between_the_two_reckonings(facilities: ModuleType) -> None:
    panel, personal, _ = facilities.facility(facilities.Scenario(""), 3)
    after = panel.hours[(panel.state == STARTED) | (panel.state == STARTING)].sum()
    assert 0 < personal.hours1.sum() < after
    assert personal.hours1.sum() + personal.hours0.sum() < panel.hours.sum()
    assert personal.events1.sum() + personal.events0.sum() <= panel.events.sum()
    # 8 units of 22 posts on average, 0.85 of 420 hours a quarter, 14 quarters
    assert panel.hours.sum() == pytest.approx(8 * 22 * 0.85 * 420 * 14, rel=0.35)


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
    within = by_scenario()[NEW_STAFF + LARGE]["within_quarter"]
    assert float(within["median_log_error"]) < -0.2, "new staff wait for their training in the same quarter"
    assert float(within["coverage"]) < 0.9
    assert "within_quarter" not in TREND_PROOF
    assert all(float(found["within_quarter"]["picked"]) == 0 for found in by_scenario().values())


def test_other_injuries_cannot_lead_because_handling_may_fall_alone() -> None:
    alone = by_scenario()["no effect, handling alone falling 10 % a year, staggered" + LARGE]
    assert float(alone["negative_control"]["says_lower"]) > 0.05
    assert float(alone["chosen"]["says_lower"]) <= 0.04
    assert all(float(found["negative_control"]["picked"]) == 0 for found in by_scenario().values())


def test_a_sudden_change_everywhere_fools_the_model_but_not_the_comparison_units() -> None:
    assert says_lower(DROP + LARGE, "adjusted") > 0.05
    assert says_lower(f"{DROP}, comparison units{LARGE}", "chosen") <= 0.04


def test_only_other_injuries_see_through_less_reporting() -> None:
    assert says_lower(UNREPORTED, "negative_control") <= 0.04
    assert says_lower(UNREPORTED, "plain") > 0.1


@pytest.mark.parametrize("design", TREND_PROOF)
def test_designs_that_a_trend_cannot_fool_cover_the_truth(design: str) -> None:
    for name, found in by_scenario().items():
        row = found[design]
        if row["coverage"] and not name.startswith((WORST_FIRST, UNREPORTED)):
            assert float(row["coverage"]) > 0.93, name


@pytest.mark.parametrize("design", LADDER)
def test_the_page_reads_the_worst_trend_and_the_worst_of_all(design: str) -> None:
    found = study.performance(design)
    assert found is not None
    idle = [row for row in rows() if row["design"] == design and float(row["effect"]) == 1]
    falling = [float(row["says_lower"]) for row in idle if float(row["yearly_change"]) < 0]
    assert found.trend_false_lower.value == max(falling)
    assert found.worst_false_lower.value == max(float(row["says_lower"]) for row in idle)
    assert found.chance_false_lower.value in [
        float(row["says_lower"]) for row in idle if row["scenario"].startswith(WORST_FIRST)
    ]


def test_a_design_that_is_not_in_the_study_has_no_performance() -> None:
    assert study.performance("no such design") is None
