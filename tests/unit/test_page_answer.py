"""The sentences on whether the program worked: one shape of result each, in words that the numbers carry."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from handling_review.evidence import chance_fall, designs_by_person, ladder, power_left, time_bands
from handling_review.evidence.answer import Answer
from handling_review.evidence.assemble import assemble
from handling_review.evidence.panel import BEFORE_AFTER, LADDER, STAGGERED, Designed, Personal
from handling_review.page import tables_answer
from handling_review.page.sentence import NOTHING
from handling_review.page.words import answer as words_answer
from handling_review.page.words import over_time
from spec import made_up_tables as made_up

PROGRAM = made_up.program()
FORBIDDEN = ("significant", "caused", "95 % chance", "95% chance", "proves")


def rung(
    low: float,
    centre: float,
    high: float,
    *,
    design: str = STAGGERED,
    cases: tuple[float, float] = (20, 40),
    years: float = 0,
) -> ladder.Rung:
    item = Designed(
        design, centre, low, high, 0.5, events1=cases[0], hours1=4e5, events0=cases[1], hours0=4e5, expected_error=0.3
    )
    return ladder.rung("facility/test", "handling", item, years, PROGRAM)


@pytest.mark.parametrize(
    ("limits", "start"),
    [
        (
            (0.3, 0.5, 0.8),
            "The rate of handling injuries was lower with the program than without it. The counts: 20 cases in 400,000",
        ),
        ((1.2, 1.5, 2.0), "The rate of handling injuries was higher with the program than without it"),
        ((0.5, 0.8, 1.3), "These data cannot tell whether the program changed the rate of handling injuries"),
    ],
)
def test_the_word_follows_from_the_interval(limits: tuple[float, float, float], start: str) -> None:
    text = words_answer.answer_sentence(rung(*limits)).text
    assert text.startswith(start)
    assert f"{limits[1]:.2f} times the rate without it (likely between {limits[0]:.2f} and {limits[2]:.2f})" in text


def test_a_fall_that_a_general_fall_could_explain_is_no_answer() -> None:
    # 0.96 ** 3 = 0.88: an upper limit of 0.95 lies below 1 but not below what three years at 4 % a year give.
    item = rung(0.4, 0.6, 0.95, design=BEFORE_AFTER, years=3.0)
    assert item.verdict == "cannot_tell"
    text = words_answer.answer_sentence(item).text
    assert "a general fall of 4% a year would by itself give a ratio of 0.88" in text
    assert "takes in both a fall and a rise" not in text
    assert rung(0.4, 0.6, 0.87, design=BEFORE_AFTER, years=3.0).verdict == "lower"
    assert rung(0.4, 0.6, 0.95, design=STAGGERED, years=3.0).verdict == "lower", "a trend cannot fool this design"


def test_few_cases_lead_with_counts() -> None:
    text = words_answer.answer_sentence(rung(0.05, 0.2, 0.7, cases=(2, 12))).text
    assert text.startswith("Handling injuries: 2 cases in 400,000 hours")
    assert "too few cases for a firm comparison" in text
    assert (
        words_answer.answer_title(rung(0.05, 0.2, 0.7, cases=(2, 12))).text
        == "Handling injuries: too few cases to tell"
    )


def answer_by(design: str) -> Answer:
    fixed = made_up.program(design=design)
    return assemble(made_up.tables(), made_up.scope(fixed), fixed).answer


def test_where_the_plain_counts_give_another_ratio_the_page_says_why() -> None:
    found = answer_by(STAGGERED)
    lead = found.ladder.lead
    cases, hours = ((lead.now_events, lead.then_events), (lead.now_hours, lead.then_hours))
    rates = [float(n.value or 0) / float(h.value or 0) for n, h in zip(cases, hours, strict=True)]
    assert found.plain_ratio is not None
    assert found.plain_ratio.value == pytest.approx(rates[0] / rates[1], rel=1e-12)
    text = words_answer.plain_ratio_sentence(found).text
    assert text.startswith(f"Dividing the two rates as they stand gives {rates[0] / rates[1]:.2f}. ")
    same = replace(found, plain_ratio=replace(found.plain_ratio, shown=lead.ratio.value.shown))  # type: ignore[union-attr]
    assert words_answer.plain_ratio_sentence(same) == NOTHING


def test_before_and_after_is_that_ratio_itself() -> None:
    found = answer_by(BEFORE_AFTER)
    assert found.plain_ratio is None
    assert words_answer.plain_ratio_sentence(found) == NOTHING


@pytest.mark.parametrize("design", LADDER)
def test_every_design_has_its_words(design: str) -> None:
    item = rung(0.3, 0.5, 0.8, design=design)
    for text in (words_answer.answer_sentence(item).text, words_answer.answer_title(item).text, ladder.LABELS[design]):
        assert not any(word in text for word in FORBIDDEN)
    assert words_answer.SHORT[design]


def test_a_fixed_design_that_cannot_be_had_says_why() -> None:
    fixed = made_up.program(design="within_quarter")
    review = assemble(made_up.tables(), made_up.scope(fixed), fixed)
    lead = review.answer.ladder.lead
    assert lead.design == "within_quarter"
    blank = replace(lead, ratio=None, reason="no unit has trained and not yet trained hours in the same quarter")
    assert "no unit has trained" in words_answer.answer_sentence(blank).text
    assert "as the program file fixed beforehand" in words_answer.design_sentence(review.answer).text


def test_the_rule_that_picked_the_design_is_named_and_its_false_claims_too() -> None:
    answer = made_up.review().answer
    found, text = answer.ladder, words_answer.design_sentence(answer).text
    assert "A rule fixed beforehand picked this way" in text
    if found.performance is not None:
        assert f"“lower” in {found.performance.trend_false_lower.shown}" in text


def test_agreement_counts_the_rows() -> None:
    answer = made_up.review().answer
    found = answer.sensitivity.agreement
    assert found is not None
    text = words_answer.agreement_sentence(answer).text
    assert f"{found.with_answer.shown} other ways of asking" in text
    total = sum(int(n.value or 0) for n in (found.lower, found.higher, found.cannot_tell))
    assert total == found.with_answer.value
    assert words_answer.agreement_word(answer) != NOTHING


def test_what_is_still_needed_is_said_only_where_the_answer_cannot_tell() -> None:
    review = made_up.review()
    power, lead = review.answer.power, review.answer.ladder.lead
    clear = words_answer.still_needed_sentences(power, replace(lead, verdict="lower"))
    open_ = words_answer.still_needed_sentences(power, replace(lead, verdict="cannot_tell"))
    assert len(open_) > len(clear)
    assert "would usually be found (four times in five)" in open_[0].text
    never = replace(power, hours_still_needed=None, detectable_in="")
    assert (
        "would never find a fall"
        in words_answer.still_needed_sentences(never, replace(lead, verdict="no_ratio"))[0].text
    )


def test_without_a_present_pace_the_hours_are_named_and_no_date() -> None:
    review = made_up.review()
    lead = replace(review.answer.ladder.lead, verdict="cannot_tell")
    still = replace(review.answer.power, quarters_still_needed=None, detectable_in="")
    text = " ".join(sentence.text for sentence in words_answer.still_needed_sentences(still, lead))
    assert "more trained hours" in text
    assert "no date can be given" in text
    assert "would never find a fall" not in text


def test_quarters_still_needed_name_the_calendar_quarter() -> None:
    plain = made_up.review().before_after.primary
    lead = rung(0.5, 0.8, 1.3)
    found = power_left.gather(lead, plain, 1000.0, ("2026-Q1", "2026-Q2"), PROGRAM)
    if found.quarters_still_needed is not None and found.quarters_still_needed.value:
        text = words_answer.still_needed_sentences(found, lead)[1].text
        assert found.detectable_in == "" or f"so until {found.detectable_in}." in text


def test_units_chosen_after_a_bad_spell_are_named() -> None:
    chance = made_up.review().answer.chance
    text = over_time.chance_sentence(chance, {"1N": "1 North"}).text
    if chance.is_bad_spell:
        assert "with no program at all" in text
    else:
        assert "They were not the worse ones" in text
    reason = chance_fall.ChanceFall((), (), None, None, False, None, None, "no unit starts inside the period")
    assert over_time.chance_sentence(reason, {}).text.endswith("no unit starts inside the period.")


def test_time_since_training_and_the_refresher_interval() -> None:
    bands = made_up.review().answer.bands
    for direction, words in (
        ("higher", "may be too long"),
        ("lower", "is not called into question"),
        ("cannot_tell", "can neither be backed nor faulted"),
    ):
        assert words in over_time.bands_sentence(replace(bands, direction=direction)).text
    none = replace(bands, step=None, refresher_months=None)
    assert "names none, cannot be judged" in over_time.bands_sentence(none).text
    assert isinstance(bands, time_bands.TimeBands)


def test_the_front_table_holds_the_main_answer_and_plain_before_and_after_once_each() -> None:
    review = made_up.review()
    names = [row[0] for row in tables_answer.front_table(review).rows]
    assert names[0] == words_answer.SHORT[review.answer.ladder.primary]
    assert words_answer.SHORT[BEFORE_AFTER] in names
    assert len(names) == len(set(names))


def test_no_ratio_at_all_is_said_not_drawn() -> None:
    nothing = Personal(*(np.zeros(0) for _ in range(6)), years_apart=math.nan)
    found = designs_by_person.before_after(nothing, 0.95)
    item = ladder.rung("facility/none", "handling", found, math.nan, PROGRAM)
    assert item.verdict == "no_ratio"
    assert "there are no hours on one of the two sides" in words_answer.answer_sentence(item).text
    assert words_answer.answer_title(item).text == "Handling injuries: no comparison possible yet"
