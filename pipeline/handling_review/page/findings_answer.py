"""The administrator's findings: did it work, before and after, other ways of asking, time, and chance."""

from __future__ import annotations

from handling_review.evidence.assemble import Review
from handling_review.evidence.panel import CONTROL
from handling_review.page import figures_answer, figures_compare, tables, tables_answer
from handling_review.page.numbered import Counter, Finding, spoken
from handling_review.page.sentence import say
from handling_review.page.words import answer as words_answer
from handling_review.page.words import change as words_change
from handling_review.page.words.answer import SHORT
from handling_review.page.words.pictures import variants_title
from handling_review.page.words.rates import SERIES_NAME, upper


def findings(review: Review, count: Counter) -> tuple[Finding, ...]:
    """The findings in the order of the page."""
    return (
        _did_it_work(review, count),
        _before_after(review, count),
        _other_ways(review, count),
        _quarters(review, count),
        _since_training(review, count),
        _chance(review, count),
    )


def _did_it_work(review: Review, count: Counter) -> Finding:
    answer = review.answer
    ladder = answer.ladder
    target = 1 - review.program.analysis.target_reduction
    return count.finding(
        "did-it-work",
        "Did it work?",
        spoken(
            words_answer.answer_sentence(ladder.lead),
            words_answer.no_sides_sentence(review),
            words_answer.design_sentence(answer),
            words_answer.bad_spell_sentence(answer),
            words_answer.agreement_sentence(answer) + words_answer.agreement_word(answer),
            *words_answer.still_needed_sentences(answer.power, ladder.lead),
        ),
        figures_answer.rungs_picture(
            "designs",
            words_answer.answer_title(ladder.lead),
            [(SHORT[rung.design], rung) for rung in reversed(ladder.rungs)],
            target,
        ),
        (tables_answer.ladder_table(ladder),),
        (
            say(
                "The designs stand from weakest to strongest. The lower ones can be fooled by anything else that "
                "changed in the same years; the last one only by something that hit the units in the order in which "
                "they started."
            ),
            say(
                "Units started when the units file says so."
                if answer.starts_stated
                else "The units file states no start for some units; they are taken to start in the first quarter in "
                "which half of their hours were worked by people past their training."
            ),
            say(
                "The rest of the quarter in which a unit starts belongs to neither side of the designs that compare "
                "units, because people are still being trained in it."
            ),
        ),
        (
            tables_answer.checks_table(ladder),
            *(tables_answer.ladder_table(other) for other in answer.ladders[1:]),
        ),
    )


def _before_after(review: Review, count: Counter) -> Finding:
    change = review.before_after
    items = [(upper(SERIES_NAME[item.series]), item) for item in change.contrasts]
    target = None if change.primary.ratio is None else float(change.target_ratio.value or 0)
    return count.finding(
        "before-after",
        "Before and after training",
        spoken(
            words_change.change_sentence(change.primary),
            words_change.avoided_sentence(change.primary),
            words_change.target_sentence(change),
            words_change.turning_sentence(change),
            words_change.comparison_series_sentence(change, review.answer.ladder.of(CONTROL)),
            words_change.background_sentence(change),
            words_change.diary_sentence(bool(review.diary)),
        ),
        None
        if all(item.ratio is None for item in change.contrasts)
        else figures_compare.forest_picture("change", words_change.change_title(change.primary), items, target),
        (
            tables.phases_table(review),
            tables.contrasts_table("After training against before, by kind of injury", "Kind", items),
        ),
        (
            say(f"Design: {change.design}. Each person's hours and cases are split at their own training date."),
            say(
                "The ratio and its range come from the cases and hours of the two phases compared. Staff with no "
                "training on record, staff whose training is not known, and the washout are in neither."
            ),
            say(
                "The hours before come only from staff who stayed long enough to be trained, and staff trained early "
                "may differ from staff trained late. Much else changed in these years. The comparison shows what "
                "happened along with the training, not what the training did."
            ),
        ),
    )


def _other_ways(review: Review, count: Counter) -> Finding:
    answer = review.answer
    found = answer.sensitivity
    items = [(tables_answer.label(row), row.rung) for row in (found.main, *found.rows)]
    return count.finding(
        "other-ways",
        "The same question asked in other ways",
        spoken(
            words_answer.agreement_sentence(answer) + words_answer.agreement_word(answer),
            words_change.unclassified_sentence(review.before_after.unclassified),
            words_answer.bounds_sentence(review),
        ),
        figures_answer.rungs_picture("variants", variants_title(answer), items),
        (tables_answer.sensitivity_table(review),),
        (
            say(
                "The main answer was fixed in the program file before looking. The others are there to see whether it "
                "hangs on one choice; none of them replaces it."
            ),
        ),
    )


def _quarters(review: Review, count: Counter) -> Finding:
    whole = review.answer.series[0]
    return count.finding(
        "around-start",
        "The quarters before and after the start",
        (words_answer.series_sentence(whole),),
        figures_answer.series_picture(whole) if len(whole.points) > 1 else None,
        (tables_answer.series_table(whole),),
        (
            say(
                "A line is fitted through the quarters before the start and carried on; what is seen after is held "
                "against it. With few quarters a line can lie far from the truth, and units that start one after the "
                "other blur the step."
            ),
        ),
        (tables_answer.unit_steps_table(review),),
    )


def _since_training(review: Review, count: Counter) -> Finding:
    return count.finding(
        "since-training",
        "Time since training",
        (words_answer.bands_sentence(review.answer.bands),),
        None,
        (tables_answer.bands_table(review),),
        (
            say(
                "Time runs from each person's first qualifying completion; the first band holds the training day and "
                "the washout too. Hours whose training had lapsed stand in a row of their own. People who are long "
                "past their training are those who stayed, so the bands also differ in who is in them."
            ),
        ),
    )


def _chance(review: Review, count: Counter) -> Finding:
    chance = review.answer.chance
    return count.finding(
        "chance",
        "What chance alone would have done",
        spoken(words_answer.chance_sentence(chance, {row.unit: row.name for row in review.units.rows})),
        None,
        tables_answer.present(tables_answer.chance_table(review)),
        (
            say(
                "A unit's bad spell is partly its nature and partly bad luck, and the luck does not last. The expected "
                "fall comes from weighing each unit's record against the spread of all units (gamma-Poisson)."
            ),
        ),
    )
