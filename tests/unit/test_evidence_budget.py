"""The budget case by shape: no money stated, a saving, a loss, no case after, proposals judged or not."""

from __future__ import annotations

import dataclasses
import json
from datetime import date
from functools import cache
from typing import Any

import pandas as pd
import pytest

from handling_review.evidence import budget, numbers
from handling_review.evidence.assemble import Review, assemble
from handling_review.evidence.numbers import money as shown_money
from handling_review.evidence.tables import ResultTables
from handling_review.page import budget as page
from handling_review.page.plain_text import budget_case
from handling_review.page.words import budget as words
from handling_review.program import Money, Program, Proposal
from spec import made_up_tables as made_up
from spec import made_up_watched

STATED = Money(
    year=2026, owner="office", stated_on=date(2026, 7, 1), cost_low=4_000.0, cost_base=8_000.0, cost_high=16_000.0
)
HEAD = "quarter unit phase go_live_phase handling hours"


def table_of(before: int, after: int) -> str:
    """Four quarters before and four after training, so many cases each, spread evenly; equal hours."""
    lines = [HEAD]
    for at in range(8):
        phase, side, whole = ("before", "before", before) if at < 4 else ("after", "after", after)
        lines.append(f"{2024 + at // 4}-Q{at % 4 + 1} A {phase} {side} {whole // 4 + (at % 4 < whole % 4)} 100000")
    return "\n".join(lines)


def tables_of(before: int, after: int, **changes: Any) -> ResultTables:
    units = pd.DataFrame(
        [("A", "Unit A", "", date(2025, 1, 1), False)],
        columns=["unit", "name", "care_type", "program_start", "comparison"],
    )
    frames = {"claims": made_up_watched.claims().iloc[:0], **changes}
    return made_up.drawn(table_of(before, after), units=units, **frames)


def whole(before: int, after: int, program: Program) -> Review:
    return assemble(tables_of(before, after), made_up.scope(program), program)


@cache
def without_money(before: int, after: int) -> Review:
    return whole(before, after, made_up.program(design="before_after"))


def drawn(
    before: int, after: int, money: Money = STATED, proposals: tuple[Proposal, ...] = (), **changes: Any
) -> Review:
    """The review of such a table. Money and claims bear on its budget alone: the rest is worked out once a table."""
    rest = without_money(before, after)
    program: Program = dataclasses.replace(made_up.program(design="before_after"), money=money, proposals=proposals)
    basis = budget.Basis(rest.answer.ladder.lead, rest.before_after, rest.training, rest.units, rest.spread)
    found = budget.gather(tables_of(before, after, **changes), basis, program)
    return dataclasses.replace(rest, program=program, budget=found)


def test_the_budget_of_a_whole_review_is_that_of_its_parts() -> None:
    apart = drawn(60, 20, proposals=(made_up.proposal("Lifts", "A", 2, 5_000.0),))
    assert whole(60, 20, apart.program).budget == apart.budget


def said(review: Review) -> str:
    found = review.budget
    return " ".join(
        s.text for s in (words.worth_sentence(found), words.net_sentence(found), words.cost_sentence(found))
    )


def test_without_any_cost_the_money_part_asks_and_makes_nothing_up() -> None:
    review = drawn(40, 20, money=Money())
    assert review.budget.cost.kind == "none"
    assert "No money is put on them" in said(review)
    assert "cost_low, cost_base and cost_high" in said(review)
    assert "USD" not in said(review)
    assert [row.saving for row in review.budget.worth.rows] == [None]


@pytest.mark.parametrize("paid", [0, 1])
def test_claims_of_which_at_most_one_cost_anything_give_no_cost_of_a_case(paid: int) -> None:
    claims = made_up_watched.claims()
    claims["cost"] = 0.0
    claims.loc[claims.index[:paid], "cost"] = 9_000.0
    review = drawn(40, 20, money=Money(), claims=claims)
    assert review.budget.cost.kind == "none"
    assert "fewer than two of the claims that are old enough cost anything" in said(review)
    assert "USD" not in said(review)


def test_without_a_cost_a_proposal_has_its_yearly_cost_and_no_verdict() -> None:
    review = drawn(40, 20, money=Money(), proposals=(made_up.proposal("Lifts", "A", 2, 5_000.0),))
    row = review.budget.proposals[0]
    annuity = sum(1.03**-year for year in range(1, 11))
    assert row.yearly_cost_in_all.value == pytest.approx(10_000 / annuity + 300)
    assert row.at_rates == ()
    assert row.avoided is not None
    text = words.proposal_sentence(row).text
    assert "it must save USD 1,500 a year to pay for itself" in text
    assert "no cost is stated" in text
    assert page.what_if(review.budget) is None


def test_a_clear_fall_is_a_saving_with_its_range() -> None:
    review = drawn(60, 20)
    head = review.budget.worth.headline()
    assert head is not None
    assert review.budget.worth.is_established
    assert head.avoided.value.value == pytest.approx(60 - 20)
    assert head.saving is not None
    assert head.saving.value.value == pytest.approx(40 * 8_000)
    assert "that is a saving of about USD 320,000" in said(review)
    assert "What the program cost is not known" in said(review)


def test_a_range_that_takes_in_no_change_is_called_not_established() -> None:
    review = drawn(20, 16)
    assert not review.budget.worth.is_established
    assert "Saving not established" in said(review)
    assert "saving of about" not in said(review)
    assert page.findings(review, page.Counter())[0].title.endswith("saving not established")


def test_a_harmful_estimate_keeps_its_loss() -> None:
    review = drawn(40, 56)
    head = review.budget.worth.headline()
    assert head is not None
    assert head.avoided.value.value == pytest.approx(40 - 56)
    assert head.saving is not None
    assert (head.saving.value.value or 0) < 0
    assert "Saving not established" in said(review)
    assert "−" in said(review)


def test_no_case_after_is_not_worth_without_end() -> None:
    review = drawn(24, 0)
    head = review.budget.worth.headline()
    assert head is not None
    assert head.design == "before_after"
    assert head.avoided.value.value == pytest.approx(24)
    assert head.avoided.upper.value is not None
    assert head.avoided.upper.value < 60


def test_the_program_cost_is_hours_times_wage_and_materials_and_the_rest() -> None:
    money = dataclasses.replace(
        STATED, wage_per_hour=30.0, hours_per_completion=4.0, materials_per_completion=10.0, other_costs=500.0
    )
    review = drawn(60, 20, money=money)
    done = review.training.classes.value or 0
    assert review.budget.program_cost.total is not None
    assert review.budget.program_cost.total.value == done * 4 * 30 + done * 10 + 500
    head = review.budget.worth.headline()
    assert head is not None
    assert head.net is not None
    assert head.net.value.value == pytest.approx(40 * 8_000 - (done * 130 + 500))


def test_own_claims_of_one_age_make_the_cost_and_the_largest_is_shown_apart() -> None:
    review = made_up.review()
    cost = review.budget.cost
    claims = [2_000.0 + 300 * i for i in range(29)] + [90_000.0]
    assert cost.kind == "own"
    assert cost.claims.value == 30, "of handling injuries only, old enough only"
    assert cost.too_young.value == 3
    assert cost.base is not None
    assert cost.base.value == pytest.approx(sum(claims) / 30)
    assert cost.without_largest is not None
    assert cost.without_largest.value == pytest.approx(sum(claims[:-1]) / 29)
    assert {row.claims for row in review.budget.worth.rows} == {"all claims", "without the largest claim"}


def test_fewer_than_five_claims_put_no_price_on_a_case() -> None:
    few = pd.DataFrame(
        [("2024-Q1", True, True, 4_000.0, 4)], columns=["quarter", "is_handling", "is_old_enough", "cost", "cases"]
    )
    review = drawn(40, 20, money=Money(), claims=few)
    assert review.budget.cost.kind == "none"


def test_a_proposal_addresses_the_units_weighed_rate_on_its_hours_of_a_year() -> None:
    review = made_up.review()
    row = review.budget.proposals[0]
    unit = next(one for one in review.units.rows if one.unit == "1N")
    weighed = next(one for one in review.spread.rows if one.unit == "1N")
    hours = unit.recent.hours.value or 0
    assert row.addressed is not None
    assert row.addressed.value.value == pytest.approx((weighed.rate.value or 0) * hours / 200_000 * 0.5)
    assert row.avoided is not None
    assert row.avoided.value.value == pytest.approx((row.addressed.value.value or 0) * 0.3)
    assert review.budget.proposals[1].unit_name == "2 North", "a unit may be named by its name too"


def test_a_proposal_for_an_unknown_unit_is_named_and_not_judged() -> None:
    review = drawn(40, 20, proposals=(made_up.proposal("Lifts", "Nowhere", 2, 5_000.0),))
    row = review.budget.proposals[0]
    assert row.reason == "no unit 'Nowhere' has hours in the review"
    assert "No more can be said" in words.proposal_sentence(row).text


def test_the_best_set_is_told_by_cases_and_by_money() -> None:
    review = made_up.review()
    by = {best.by: best for best in review.budget.best}
    assert set(by) == {"cases", "npv"}
    outlays = {1: 18_000, 2: 3_600}
    for best in by.values():
        assert sum(outlays[n] for n in best.chosen) <= 30_000
    assert by["cases"].chosen == (1, 2)
    assert "most by expected avoided cases: Lifts and Mats" in words.best_sentence(review.budget, by["cases"]).text


def test_nothing_proposed_says_how_to_propose() -> None:
    review = drawn(40, 20)
    assert "[[money.proposals]]" in words.no_proposal_sentence(review.budget).text
    assert review.budget.best == ()


def test_the_terms_name_the_year_the_kind_and_the_owner() -> None:
    review = drawn(40, 20)
    text = words.terms_sentence(review.budget).text
    assert "USD of 2026, to two figures" in text
    assert "real ones" in text
    assert "end of each year" in text
    assert "office, 2026-07-01" in text
    nominal = dataclasses.replace(review.budget, is_real=False, insured="premium_rated", indirect_multiplier=1.5)
    nominal = dataclasses.replace(nominal, indirect=numbers.plain("setting/indirect_multiplier", 1.5, "ratio"))
    assert "nominal ones" in words.terms_sentence(nominal).text
    assert "three years later" in words.insured_sentence(nominal).text
    assert "1.5 times" in words.insured_sentence(nominal).text


def test_the_calculator_starts_from_the_figures_of_the_table() -> None:
    review = made_up.review()
    found = page.what_if(review.budget)
    assert found is not None
    data = json.loads(found.json)
    assert [one["outlay"] for one in data["proposals"]] == [18_000.0, 3_600.0]
    assert data["rate"] == 0.03
    first, row = data["proposals"][0], review.budget.proposals[0]
    annuity = sum(1.03**-year for year in range(1, first["years"] + 1))
    npv = (first["addressed"] * first["reduction"] * data["cost"] - first["service"]) * annuity - first["outlay"]
    main = row.main()
    assert main is not None
    assert npv == pytest.approx(main.npv.value.value or 0, rel=1e-4)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.0, "USD 0"), (12.4, "USD 12"), (99.6, "USD 100"), (123.0, "USD 120"), (-4_987.0, "USD −5,000"),
        (1_250_000.0, "USD 1,200,000"), (996.0, "USD 1,000"), (float("inf"), "no limit"),
    ],
)  # fmt: skip
def test_money_has_two_figures(value: float, shown: str) -> None:
    assert shown_money("k", value, "USD").shown == shown


def test_the_plain_text_has_every_sentence_and_number_of_the_page() -> None:
    review = made_up.review()
    text = budget_case(review)
    for finding in page.findings(review, page.Counter()):
        assert finding.title in text
        for table in (*finding.tables, *finding.folded):
            assert str(table.caption) in text
    assert max(len(line) for line in text.splitlines() if not line.startswith(" ")) < 400
    assert "\t" not in text


def test_money_is_never_read_from_single_people() -> None:
    tables = made_up.tables()
    assert isinstance(tables, ResultTables)
    assert set(tables.claims.columns) == {"quarter", "is_handling", "is_old_enough", "cost", "cases"}


def test_present_value_by_year_ends_with_that_of_the_life_and_turns_at_the_payback() -> None:
    row = made_up.review().budget.proposals[1]
    assert len(row.by_year) == row.years == 10
    for at, one in enumerate(row.at_rates):
        assert row.by_year[-1][at].value == pytest.approx(one.npv.value.value)
    undiscounted = [values[0].value or 0 for values in row.by_year]
    assert row.payback is not None
    first = next((year for year, value in enumerate(undiscounted, start=1) if value >= 0), None)
    if row.payback.value is not None and first is not None:
        assert first - 1 < row.payback.value <= first
    table = page.years_table(row)
    assert table is not None
    assert [column.title for column in table.columns] == ["Years", *(f"{r}% a year" for r in (0, 3, 5, 7, 10))]


def test_with_an_indirect_multiplier_the_direct_result_stands_beside() -> None:
    money = dataclasses.replace(STATED, indirect_multiplier=1.0)
    review = drawn(60, 20, money=money, proposals=(made_up.proposal("Lifts", "A", 2, 5_000.0),))
    rows = {row.claims: row for row in review.budget.worth.rows if row.design == "before_after"}
    both, direct = rows["stated cost of a case"].saving, rows["direct costs only"].saving
    assert both is not None
    assert direct is not None
    assert both.value.value == pytest.approx(2 * (direct.value.value or 0))
    head = review.budget.worth.headline()
    assert head is not None
    assert head.claims == "stated cost of a case"
    row = review.budget.proposals[0]
    assert row.direct_only is not None
    alone = drawn(60, 20, proposals=(made_up.proposal("Lifts", "A", 2, 5_000.0),)).budget.proposals[0].main()
    assert alone is not None
    assert row.direct_only.value == pytest.approx(alone.npv.value.value)
    assert "Counting direct costs only" in words.proposal_sentence(row).text


@pytest.mark.parametrize(
    ("cases", "wage", "ending"),
    [((60, 20), None, "a saving"), ((60, 20), 5.0, "more than it cost"), ((60, 20), 120.0, "not surely more than it "
    "cost"),
     ((20, 16), 5.0, "saving not established")],
)  # fmt: skip
def test_the_heading_claims_no_more_than_the_range(cases: tuple[int, int], wage: float | None, ending: str) -> None:
    money = STATED if wage is None else dataclasses.replace(STATED, wage_per_hour=wage, hours_per_completion=4.0)
    assert words.worth_title(drawn(*cases, money=money).budget.worth).endswith(ending)


def test_a_range_wholly_on_the_side_of_harm_is_called_a_loss() -> None:
    review = drawn(40, 90)
    assert "more cases than without the program, not fewer: a loss of about USD −400,000" in said(review)
    assert "not established" not in said(review)
    assert words.worth_title(review.budget.worth).endswith(": a loss")
