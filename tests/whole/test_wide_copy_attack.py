"""Nobody can work out a count of 1 to 4 people from the wide copy: an attacker with a solver tries the finished page.

The same attacker does succeed where only the small counts are hidden, so it can fail.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from handling_review import review as story
from handling_review.evidence.assemble import Review
from handling_review.evidence.tables import ResultTables
from handling_review.program import Program, read_program
from spec import made_up_tables as made_up
from whole import facility, wide_facilities
from whole import wide_campaign as campaign
from whole.wide_attack import Attack, counts_that_print

FACILITIES = 12
SHORT_OF_THE_END = 33  # scipy 1.17: with its presolve the solver says 2 where 9 cases fit the page


def built(program: Program, day: date, folder: Path) -> tuple[ResultTables, Review]:
    found = story.measured(program, day, folder)
    tables = ResultTables.from_dict(found.tables)
    return tables, wide_facilities.reviewed(tables, program)


@pytest.fixture(scope="module")
def sample(
    sample_review: tuple[Path, Path], tmp_path_factory: pytest.TempPathFactory
) -> tuple[ResultTables, Review, str, Path]:
    given, out = sample_review
    program = read_program(given / "program.toml")
    assert program.review.as_of is not None
    wide = (out / "program-review-wide.html").read_text(encoding="utf-8")
    return *built(program, program.review.as_of, tmp_path_factory.mktemp("again")), wide, out


def test_the_attacker_turns_rates_and_limits_back_into_counts() -> None:
    """Garwood limits of 7 cases in 100,000 hours, from chi-squared quantiles: 14.0 (5.6 to 28.8)."""
    assert counts_that_print(100_000, "14.0", "") == {7}
    assert counts_that_print(100_000, "", "5.6 to 28.8") == {7}
    assert counts_that_print(100_000, "", "at most 9.5") == {1}  # one-sided 95 % limit of one case: 4.74 cases


def test_no_small_count_of_the_sample_can_be_worked_out(sample: tuple[ResultTables, Review, str, Path]) -> None:
    tables, review, html, _ = sample
    attack = Attack(html)
    small = campaign.small_counts(attack, wide_facilities.truth(tables), review.rates.complete())
    assert len(small) >= 6
    assert campaign.worked_out(attack, small) == ([], [])
    assert attack.hidden_data() == []


def test_with_small_counts_alone_hidden_the_sample_is_solved(sample: tuple[ResultTables, Review, str, Path]) -> None:
    tables, review, _, _ = sample
    attack = Attack(wide_facilities.page(tables, review, complementary=False)[0])
    small = campaign.small_counts(attack, wide_facilities.truth(tables), review.rates.complete())
    exact, _ = campaign.worked_out(attack, small)
    assert "dart not days_away/2024" in exact
    assert len(exact) >= 3


def test_the_hand_facility_shows_no_count_at_all_but_noughts(tmp_path: Path) -> None:
    program = read_program(facility.write(tmp_path / "hand"))
    (tmp_path / "store").mkdir()
    tables, review = built(program, date(2025, 7, 31), tmp_path / "store")
    html, _ = wide_facilities.page(tables, review)
    attack = Attack(html)
    small = campaign.small_counts(attack, wide_facilities.truth(tables), review.rates.complete())
    assert len(small) >= 5
    assert campaign.worked_out(attack, small) == ([], [])
    assert {printed for printed, _ in attack.rows.values()} <= {"not shown*", "0", "5"}


@pytest.mark.parametrize("seed", [*range(FACILITIES), SHORT_OF_THE_END])
def test_no_small_count_of_a_drawn_facility_can_be_worked_out(seed: int) -> None:
    """Small counts, one unit, many units, noughts. The campaign of 200 is ``python tests/bench/wide_copy.py``."""
    tried = campaign.attacked(seed, made_up.program())
    assert tried.exposed == ()
    assert tried.worked_out == ()
    assert tried.known_to_be_small == ()
    assert tried.hidden_data == ()


def test_the_attacker_solves_drawn_facilities_in_which_only_small_counts_are_hidden() -> None:
    program = made_up.program()
    solved = [campaign.attacked(seed, program, complementary=False).worked_out for seed in range(8)]
    assert sum(bool(found) for found in solved) >= 4
