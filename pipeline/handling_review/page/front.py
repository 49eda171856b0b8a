"""Page one: where we stand, what changed with training, what stands out, what to do, what is open."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.evidence.assemble import Review
from handling_review.evidence.measure import Rate
from handling_review.page import tables_answer
from handling_review.page.glyph import rate_scale
from handling_review.page.sentence import NOTHING, Sentence, spoken
from handling_review.page.tables import (
    RATE_COLUMNS,
    Column,
    Table,
    rate_cells,
    rate_notes,
)
from handling_review.page.words import answer as words_answer
from handling_review.page.words import change as words_change
from handling_review.page.words import data as words_data
from handling_review.page.words import rates as words
from handling_review.page.words import restated as words_restated
from handling_review.page.words import watch as words_watch
from handling_review.page.words.rates import SERIES_NAME, upper


@dataclass(frozen=True)
class Action:
    """A candidate for action and the finding it follows from."""

    says: Sentence
    finding: str


@dataclass(frozen=True)
class Front:
    """What stands on page one."""

    main_analysis: str
    stand: tuple[Sentence, ...]
    stand_table: Table
    change: tuple[Sentence, ...]
    change_table: Table
    stands_out: tuple[Sentence, ...]
    actions: tuple[Action, ...]
    open: tuple[Sentence, ...]
    since: tuple[Sentence, ...]
    rows: Sentence


def front(review: Review) -> Front:
    """Page one of a review."""
    return Front(
        main_analysis=words_answer.main_analysis(review),
        stand=words.where_we_stand(review.rates, review.series),
        stand_table=_stand_table(review),
        change=_change(review),
        change_table=tables_answer.front_table(review),
        stands_out=(
            *_stands_out(review),
            *words_data.nothing_or(words_data.coverage_in_short(review.training)),
        ),
        actions=tuple(
            Action(words_data.candidate_sentence(candidate), candidate.finding) for candidate in review.actions
        ),
        open=words_data.cannot_tell_yet(review),
        since=words_restated.changed_sentences(review.restated, review.series),
        rows=words_data.accounting_sentence(review.accounting),
    )


def _stands_out(review: Review) -> tuple[Sentence, ...]:
    """What charts, early warnings and units say of now; one sentence if nothing stands out anywhere."""
    differ = bool(review.units.standing_out())
    said = words_watch.stands_out_sentences(
        review.watch, units_differ=differ, units_compared=bool(review.units.compared())
    )
    return (words.units_sentence(review.units), *said) if differ else said


def _change(review: Review) -> tuple[Sentence, ...]:
    """The leading answer and how it was compared, then what the hours after training came to."""
    change, answer = review.before_after, review.answer
    lead = answer.ladder.lead
    is_plain = answer.ladder.primary == "before_after"
    needed = words_answer.still_needed_sentences(answer.power, lead)
    return spoken(
        words_answer.answer_sentence(lead),
        words_answer.no_sides_sentence(review),
        words_answer.compared_sentence(answer.ladder),
        NOTHING if lead.few else words_answer.bad_spell_sentence(answer),
        words_change.avoided_sentence(change.primary),
        words_change.background_sentence(change) if is_plain else NOTHING,
        *needed[: 2 if lead.verdict != "lower" else 0],
    )


def _stand_table(review: Review) -> Table:
    """The latest quarter and the last four with what they are compared with, on one scale."""
    rates, series = review.rates, review.series
    rows: list[tuple[str, Rate]] = []
    if rates.latest is not None:
        rows.append((f"{rates.latest.quarter} (latest)", rates.latest.of(series)))
    by_name = {item.name: item for item in rates.comparisons}
    if "same_quarter_last_year" in by_name:
        item = by_name["same_quarter_last_year"]
        rows.append((f"{item.labels[1]} (a year before)", item.then))
    if rates.recent is not None:
        rows.append((f"Four quarters to {rates.recent.quarter}", rates.recent.of(series)))
    if "four_quarters_before" in by_name:
        rows.append(("The four before them", by_name["four_quarters_before"].then))
    has_recordable = rates.recent is not None and bool(review.reference.of("recordable"))
    is_other = has_recordable and series != "recordable"
    if rates.recent is not None and is_other:
        rows.append(("All recordable, last four", rates.recent.of("recordable")))
    scale = rate_scale([rate for _, rate in rows])
    published = tuple(
        (f"All recordable, industry {row.naics}, {row.year}", "", "", row.rate, "published", None)
        for row in (review.reference.nearest("recordable"),)
        if row is not None and rates.recent is not None
    )
    return Table(
        f"{upper(SERIES_NAME[series])}{' and all recordable injuries' if is_other else ''}, per 200,000 hours",
        (Column("Period", "label"), *RATE_COLUMNS),
        (*((label, *rate_cells(rate, scale)) for label, rate in rows), *published),
        rate_notes([rate for _, rate in rows], review),
    )
