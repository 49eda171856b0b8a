"""Sentences: one test for each shape a result can have, read as a person reads them."""

from __future__ import annotations

from typing import Any

import pytest

from handling_review.evidence import accounting, before_after, ladder, rates, training, units
from handling_review.evidence.measure import measure
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tally import Tally
from handling_review.page.sentence import counted, listed, say
from handling_review.page.words import change as words_change
from handling_review.page.words import data as words_data
from handling_review.page.words import rates as words
from spec import made_up_tables as made_up

PROGRAM = made_up.program()


def change(after: int, before: int, hours: int = 400_000, **options: Any) -> before_after.BeforeAfter:
    """One comparison from counts on equal hours, in two complete quarters."""
    table = f"""
    quarter unit phase  handling non_handling hours
    2024-Q1 A    before {before} 20 {hours}
    2024-Q2 A    after  {after}  20 {hours}
    """
    tables = made_up.drawn(table, **options)
    return before_after.gather(tables, rates.gather(tables, PROGRAM).complete(), PROGRAM)


def said(after: int, before: int) -> str:
    return words_change.change_sentence(change(after, before).primary).text


# One rate


def rate_text(events: int, hours: float, **options: Any) -> str:
    found = measure("x", "handling", Tally(events, hours), PROGRAM, **options)
    return words.rate_sentence(found, "last quarter").text


def test_a_rate_is_an_estimate_with_its_range_cases_and_hours() -> None:
    # 18 cases in 590,000 hours: 18 x 200,000 / 590,000 = 6.1; exact limits of 18 are 10.668 and 28.448 (Garwood).
    assert rate_text(18, 590_000) == (
        "Last quarter: about 6.1 handling injuries per 100 full-time staff a year (likely between 3.6 and 9.6), from "
        "18 cases in 590,000 hours."
    )


def test_one_case_is_singular() -> None:
    assert "from 1 case in 590,000 hours" in rate_text(1, 590_000)


def test_no_case_is_not_called_safe() -> None:
    assert rate_text(0, 200_000) == (
        "Last quarter: no handling injury in 200,000 hours. The true rate could still be as high as 3.0 per 100 "
        "full-time staff a year."
    )


def test_too_few_cases_for_a_unit_lead_with_counts() -> None:
    assert rate_text(3, 100_000, hide_few=True) == (
        "Last quarter: 3 cases in 100,000 hours. That is too few for a rate; it could be as high as 15.5 per 100 "
        "full-time staff a year."
    )


def test_an_incomplete_quarter_gives_its_reason() -> None:
    assert rate_text(3, 100_000, withheld="hours of 3E stop on 2025-08-16") == (
        "Last quarter: no rate is printed (hours of 3E stop on 2025-08-16)."
    )


# A period against an earlier one


def compared(now: int, then: int) -> str:
    lines = [f"2024-Q1 A never {then} 100000", f"2025-Q1 A never {now} 100000"]
    evidence = rates.gather(made_up.drawn("quarter unit phase handling hours\n" + "\n".join(lines)), PROGRAM)
    return words.comparison_sentence(evidence.comparisons[0]).text


@pytest.mark.parametrize(
    ("now", "then", "expected"),
    [
        (10, 40, "That is lower than in the same quarter a year before: 80.0 (40 cases in 100,000 hours)."),
        (40, 10, "That is higher than in the same quarter a year before: 20.0 (10 cases in 100,000 hours)."),
        (12, 14, "In the same quarter a year before it was 28.0 (14 cases in 100,000 hours). A difference of this"),
        (2, 4, "With so few cases the two cannot be told apart, whichever way the rate moved."),
        (1, 30, "The whole likely range is a fall, but with so few cases the size of the change is"),
        (30, 1, "there was 1 case in 100,000 hours. The whole likely range is a rise, but with so few cases the size"),
        (2, 1, "In the same quarter a year before there was 1 case in 100,000 hours."),
        (0, 0, "There was none in the same quarter a year before either (100,000 hours)."),
    ],
)
def test_a_period_against_an_earlier_one(now: int, then: int, expected: str) -> None:
    assert expected in compared(now, then)


# Before and after


def test_lower() -> None:
    # 10 and 40 cases on equal hours: ratio 10 / 40.
    assert said(10, 40).startswith(
        "The rate of handling injuries was lower after training than before training. The counts: 10 cases in 400,000 "
        "hours after training, against 40 cases in 400,000 hours before training. Per 200,000 hours that is 5.0 after "
        "and 20.0 before: a ratio of 0.25 (likely between 0.12 and "
    )


def test_higher_is_said_as_plainly_as_lower() -> None:
    assert said(40, 10).startswith("The rate of handling injuries was higher after training than before training.")


def test_cannot_tell_says_that_the_range_takes_in_both() -> None:
    text = said(20, 22)
    assert text.startswith("These data cannot tell whether the rate of handling injuries changed with training.")
    assert text.endswith("That range takes in both a fall and a rise.")


def test_few_cases_lead_with_counts_and_hours() -> None:
    text = said(2, 7)
    assert text.startswith("Handling injuries: 2 cases in 400,000 hours after training, against 7 cases in 400,000")
    assert "too few cases for a firm comparison" in text


def test_few_cases_that_leave_out_one_say_where_the_range_lies() -> None:
    assert "The whole range is a fall, but with so few cases" in said(1, 30)
    assert "The whole range is a rise, but with so few cases" in said(30, 1)


def test_no_case_before_prints_no_ratio() -> None:
    assert "With no case before there is no ratio; from the hours alone it could be as low as" in said(9, 0)


def test_no_case_at_all_prints_no_ratio() -> None:
    assert said(0, 0).endswith("With no case on either side there is no ratio to print.")


def test_nothing_to_compare_names_what_is_missing() -> None:
    tables = made_up.drawn("quarter unit phase handling hours\n2024-Q1 A before 5 1000")
    found = before_after.gather(tables, ("2024-Q1",), PROGRAM).primary
    assert words_change.change_sentence(found).text == (
        "There is nothing to compare for handling injuries: the complete quarters hold no hours worked after training."
    )


def test_counts_only_prints_no_rate() -> None:
    found = change(4, 9, gaps={"2024-Q2": "hours missing"}).primary
    text = words_change.change_sentence(found).text
    assert text.startswith("Counts only for handling injuries:")
    assert "ratio" not in text
    assert "times" not in text


def test_harm_is_a_negative_number_of_cases_avoided_explained() -> None:
    # 30 after and 10 before on equal hours: 10 - 30 = -20 avoided.
    text = words_change.avoided_sentence(change(30, 10).primary).text
    assert text.startswith("Cases avoided, counted against the rate before: −20 (likely between −")
    assert text.endswith("Below zero means more cases than expected, not fewer.")


def test_cases_avoided_across_zero_explain_zero() -> None:
    assert "Below zero means more cases than expected" in words_change.avoided_sentence(change(20, 22).primary).text
    assert "Below zero" not in words_change.avoided_sentence(change(10, 40).primary).text


@pytest.mark.parametrize(
    ("after", "before", "expected"),
    [
        (8, 60, "The whole likely range is at or below the target ratio of 0.50."),
        (20, 40, "The target ratio of 0.50 lies inside the likely range: the data fit it"),
        (40, 10, "The target ratio of 0.50 lies outside the likely range: the data speak against it."),
    ],
)
def test_the_target_is_set_against_the_range(after: int, before: int, expected: str) -> None:
    assert words_change.target_sentence(change(after, before)).text.startswith(expected)


def test_what_would_change_the_answer() -> None:
    assert words_change.turning_sentence(change(10, 40)).text.startswith(
        "What would change the answer? With the same hours and 40 cases before training, it would say “lower” with "
    )
    assert "with no number of cases after training" in words_change.turning_sentence(change(3, 2)).text


def test_other_injuries_moving_the_same_way_put_the_program_in_doubt() -> None:
    table = """
    quarter unit phase  handling non_handling hours
    2024-Q1 A    before 40       40           400000
    2024-Q2 A    after  12       12           400000
    """
    tables, quarters = made_up.drawn(table), ("2024-Q1", "2024-Q2")
    found = before_after.gather(tables, quarters, PROGRAM)
    control = ladder.gather(Strata(tables, quarters), PROGRAM)[0].of("negative_control")
    text = words_change.comparison_series_sentence(found, control).text
    assert "They moved the same way as the handling injuries" in text
    assert "Held against them, the handling injuries changed by a ratio of 1.00" in text  # (12 x 40) / (40 x 12)


def test_many_undecided_cases_are_read_before_the_estimate() -> None:
    undecided = made_up.frames()["unclassified"].assign(quarter="2024-Q1", phase="before", events=10)
    found = change(10, 40, unclassified=undecided).unclassified
    assert found.leads
    assert "read this range before the estimate" in words_change.unclassified_sentence(found).text


# Units, training, reporting, data


def test_units_that_stand_out_are_a_question_not_a_mark() -> None:
    text = words.units_sentence(made_up.review().units).text
    assert text.startswith("3 East stands out as higher: its rate is ")
    assert text.endswith("this is a question, not a mark.")


def units_text(*rows: str) -> str:
    tables = made_up.drawn("\n".join(["quarter unit phase handling hours", *rows]))
    complete = rates.gather(tables, PROGRAM).complete()
    return words.units_sentence(units.gather(tables, complete, PROGRAM)).text


def test_no_unit_standing_out_is_said() -> None:
    text = units_text("2024-Q1 A never 9 90000", "2024-Q1 B never 9 90000")
    assert text == (
        "No unit stands out: each one with enough cases fits the rate of the others, with the range widened because "
        "2 units were looked at."
    )


def test_too_few_cases_to_compare_units_is_said() -> None:
    text = units_text("2024-Q1 A never 2 9000", "2024-Q1 B never 1 9000")
    assert text == "No unit has enough cases to be set against the others."


def test_a_single_unit_is_set_against_nothing() -> None:
    assert units_text("2024-Q1 A never 9 9000") == "Unit A is the only unit, so there is no other to set it against."


def test_coverage_names_every_status() -> None:
    text = words_data.coverage_sentence(made_up.review().training).text
    for part in ("training was current", "training had lapsed", "not yet trained", "on record", "not known"):
        assert part in text


def test_a_low_match_share_is_explained() -> None:
    base = made_up.frames()["training_summary"].assign(match_share=0.5)
    tables = made_up.ResultTables.from_dict(made_up.frames() | {"training_summary": base})
    found = training.gather(tables, rates.gather(tables, PROGRAM).complete(), units.unit_names(tables), PROGRAM)
    assert "counted as unknown, not as untrained" in words_data.coverage_sentence(found).text


def test_no_complete_quarter_is_said_everywhere() -> None:
    found = made_up.review(missing=dict.fromkeys(made_up.QUARTERS, "hours missing"))
    assert words.where_we_stand(found.rates, "handling")[0].text.startswith("No quarter is complete yet")
    assert words_data.coverage_sentence(found.training).text.startswith("No quarter is complete yet")
    assert "There are not yet two whole years" in words_data.mix_sentence(found.reporting).text
    assert words_change.change_sentence(found.before_after.primary).text.endswith("no quarter is complete.")


def test_a_clean_file_is_said() -> None:
    frames = made_up.frames()
    frames["findings"] = frames["findings"].iloc[:0]
    found = accounting.gather(made_up.ResultTables.from_dict(frames))
    assert words_data.quality_sentence(found).text == "The checks found nothing to put right."


def test_rows_that_do_not_add_up_are_said() -> None:
    frames = made_up.frames()
    frames["accounting"].loc[0, "rows"] = 1
    found = accounting.gather(made_up.ResultTables.from_dict(frames))
    assert "The rows of incidents do not add up" in words_data.accounting_sentence(found).text


def test_a_provisional_quarter_says_when_it_will_be_firm() -> None:
    # 2026-06-30 and 90 days: 31 in July, 31 in August, 28 in September.
    texts = [sentence.text for sentence in words_data.cannot_tell_yet(made_up.review())]
    assert "2026-Q2 is provisional: late entries may add cases. It is firm from 2026-09-28." in texts


# Words that are never used


@pytest.mark.parametrize("options", [{}, {"ratio": 2.5}, {"ratio": 0.9}, {"ratio": 0.05, "seed": 3}])
def test_words_that_claim_too_much_are_never_used(options: dict[str, Any]) -> None:
    found = made_up.review(**options)
    spoken = [
        *words.where_we_stand(found.rates, "handling"),
        words_change.change_sentence(found.before_after.primary),
        words_change.avoided_sentence(found.before_after.primary),
        words_change.comparison_series_sentence(found.before_after, found.answer.ladder.of("negative_control")),
        *words_data.cannot_tell_yet(found),
        *(words_data.candidate_sentence(candidate) for candidate in found.actions),
    ]
    text = " ".join(sentence.text for sentence in spoken).lower()
    for word in ("significan", "training caused", "because of training", "95% chance", "proves", "zero injuries"):
        assert word not in text


# Building blocks


def test_lists_in_words() -> None:
    assert listed(()) == ""
    assert listed(("A",)) == "A"
    assert listed(("A", "B", "C")) == "A, B and C"
    assert listed(("A", "B", "C", "D"), most=2) == "A, B and 2 more"


def test_a_sentence_is_text_for_the_minutes_and_escaped_html_for_the_page() -> None:
    found = made_up.review().rates.quarters[0].of("handling").events
    sentence = say("A & B <b>: ", *counted(found, "case", "cases"))
    assert sentence.text == f"A & B <b>: {found.shown} cases"
    assert sentence.__html__() == (
        f'A &amp; B &lt;b&gt;: <data data-key="{found.key}" value="{found.value}">{found.shown}</data> cases'
    )
