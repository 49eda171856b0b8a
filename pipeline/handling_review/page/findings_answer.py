"""The administrator's findings: did it work, before and after, other ways of asking, time, and chance."""

from __future__ import annotations

from handling_review.evidence.assemble import Review
from handling_review.evidence.panel import CONTROL
from handling_review.page import figures_answer, figures_compare, tables, tables_answer
from handling_review.page.numbered import Counter, Finding
from handling_review.page.sentence import spoken
from handling_review.page.words import answer as words_answer
from handling_review.page.words import change as words_change
from handling_review.page.words import how as words_how
from handling_review.page.words import over_time
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
            words_answer.plain_ratio_sentence(answer),
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
        words_how.did_it_work(answer),
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
        words_how.before_after(change),
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
        words_how.OTHER_WAYS,
    )


def _quarters(review: Review, count: Counter) -> Finding:
    whole = review.answer.series[0]
    return count.finding(
        "around-start",
        "The quarters before and after the start",
        (over_time.series_sentence(whole),),
        figures_answer.series_picture(whole) if len(whole.points) > 1 else None,
        (tables_answer.series_table(whole),),
        words_how.AROUND_START,
        (tables_answer.unit_steps_table(review),),
    )


def _since_training(review: Review, count: Counter) -> Finding:
    return count.finding(
        "since-training",
        "Time since training",
        (over_time.bands_sentence(review.answer.bands),),
        None,
        (tables_answer.bands_table(review),),
        words_how.SINCE_TRAINING,
    )


def _chance(review: Review, count: Counter) -> Finding:
    chance = review.answer.chance
    return count.finding(
        "chance",
        "What chance alone would have done",
        spoken(over_time.chance_sentence(chance, {row.unit: row.name for row in review.units.rows})),
        None,
        tables_answer.present(tables_answer.chance_table(review)),
        words_how.CHANCE,
    )
