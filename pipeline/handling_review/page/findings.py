"""The numbered findings of the review, part by part: sentence, picture, tables, how we know."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.evidence.assemble import Review
from handling_review.page import (
    audits,
    budget,
    figures,
    figures_compare,
    findings_answer,
    funnel,
    late,
    leading,
    severity,
    spread,
    tables,
    tables_data,
    tasks,
    training_due,
    watching,
    who,
)
from handling_review.page.numbered import Counter, Finding, spoken
from handling_review.page.sentence import say
from handling_review.page.tables import Table
from handling_review.page.time_axis import over_time
from handling_review.page.words import data as words_data
from handling_review.page.words import rates as words
from handling_review.page.words.rates import SERIES_NAME

_SHORT_NAME = 16  # longer unit names make the table too wide to stand next to its picture


@dataclass(frozen=True)
class Part:
    """One part of the review, written for one reader."""

    id: str
    title: str
    lead: str
    findings: tuple[Finding, ...]


def _present(*items: Table | None) -> tuple[Table, ...]:
    return tuple(item for item in items if item is not None)


def parts(review: Review) -> tuple[Part, ...]:
    """The parts for the committee, the administrator and the nurse, findings numbered through."""
    count = Counter()
    return (
        Part(
            "committee",
            "For the safety committee",
            "How often staff are hurt when moving people, where, and how far training has come.",
            (
                _rates(review, count),
                watching.finding(review, count),
                _series(review, count),
                _units(review, count),
                tasks.finding(review, count),
                _coverage(review, count),
                audits.finding(review.audits, count),
                leading.finding(review.leading, count),
            ),
        ),
        Part(
            "administrator",
            "For the administrator",
            "Whether the program worked, how sure that is, and what would change the answer.",
            (*findings_answer.findings(review, count), *budget.findings(review, count)),
        ),
        Part(
            "nurse",
            "For the occupational health nurse",
            "How long people are away, who is hurt and how, whether reporting is holding up, and what to put right.",
            (
                severity.finding(review, count),
                who.finding(review, count),
                _reporting(review, count),
                late.finding(review, count),
                _people(review, count),
                training_due.finding(review.due, count),
                _quality(review, count),
            ),
        ),
    )


def _rates(review: Review, count: Counter) -> Finding:
    series = review.series
    return count.finding(
        "rates",
        f"How often: {SERIES_NAME[series]}",
        spoken(
            *words.where_we_stand(review.rates, series),
            words.incomplete_sentence(review.rates),
        ),
        over_time(review, figures.rates_picture),
        (tables.quarters_table(review, series),),
        (
            say(
                "Each dot is cases × 200,000 ÷ hours worked in that quarter; the line is the same for four quarters "
                "together, cases and hours added up before dividing. A quarter is never multiplied by four."
            ),
            say(
                "The likely range allows for chance alone. Two quarters whose ranges overlap can still differ; the "
                "sentences above compare the rates themselves."
            ),
        ),
        _present(tables.four_quarters_table(review, series), tables_data.diary_table(review)),
        beside=True,
    )


def _series(review: Review, count: Counter) -> Finding:
    recent = review.rates.recent
    says = [say("There are not yet four complete quarters in a row to set the kinds of injury side by side.")]
    if recent is not None:
        says = [words.rate_sentence(recent.of("recordable"), "last four quarters")]
        says += [words.rate_sentence(recent.of(name), "of these") for name in ("dart", "days_away")]
    return count.finding(
        "kinds",
        "How bad: all recordable, DART and days-away injuries",
        spoken(*says, words.reference_sentence(review.reference, recent)),
        over_time(review, figures.series_picture),
        _present(tables.series_table(review), tables_data.reference_table(review)),
        (
            say(
                "DART: days away, restricted work or transfer. Days away depend on how work is found for injured "
                "staff, so the count of cases comes first."
            ),
            say("The facility's recordable rate counts deaths as well; the published rates are for non-fatal cases."),
        ),
        tuple(
            make(review, name)
            for make in (tables.quarters_table, tables.four_quarters_table)
            for name in ("recordable", "dart", "days_away")
        ),
    )


def _units(review: Review, count: Counter) -> Finding:
    return count.finding(
        "units",
        "Where: units side by side",
        spoken(
            words.units_sentence(review.units),
            funnel.funnel_sentence(review.funnel),
            spread.spread_sentence(review.spread),
        ),
        figures_compare.units_picture(review) if len(review.units.rows) > 1 else None,
        (tables.units_table(review, "overall"),),
        (
            say(
                "Units stand in alphabetical order, because a ranking of small units mostly ranks chance. Each unit "
                "with enough cases is set against all others together over all complete quarters, and its range is "
                "widened for the number of units looked at."
            ),
            say("A unit with no case is not a safe unit: its upper limit says how high the true rate could still be."),
        ),
        _present(
            funnel.table(review.funnel),
            tables.units_table(review, "recent"),
            tables.rest_table(review),
            spread.spread_table(review.spread),
        ),
        beside=max((len(row.name) for row in review.units.rows), default=0) <= _SHORT_NAME,
        second=funnel.picture(review.funnel),
    )


def _coverage(review: Review, count: Counter) -> Finding:
    training = review.training
    folded: tuple[Table, ...] = ()
    if training.units:
        folded = (
            tables.coverage_table(
                review, training.units, f"Share of hours worked by training status, {training.latest}", "Unit"
            ),
            *_present(tables.unit_coverage_table(review)),
        )
    return count.finding(
        "coverage",
        "How far: training coverage of the hours worked",
        (words_data.coverage_sentence(training),),
        over_time(review, figures.coverage_picture),
        (tables.coverage_table(review, training.quarters, "Share of hours worked by training status", "Quarter"),),
        (
            say(
                "Coverage is a share of hours, not of heads: a person who works every day counts for more than one "
                "who works one shift a month. Hours are all counted, so a share has no range."
            ),
            say(
                "Not yet trained: staff whose first training came later. None on record: staff without any, among them "
                "those who left before their unit's turn."
            ),
        ),
        folded,
    )


def _reporting(review: Review, count: Counter) -> Finding:
    return count.finding(
        "reporting",
        "Is reporting holding up?",
        (words_data.mix_sentence(review.reporting),),
        figures.mix_picture(review),
        (tables.mix_table(review),),
        (
            say(
                "More first-aid cases are often a sign of better reporting, not of more harm. When recordable cases "
                "become fewer and the share of serious ones grows, small injuries may be going unreported."
            ),
            say("The range of the DART share is Wilson's interval for a proportion."),
        ),
    )


def _people(review: Review, count: Counter) -> Finding:
    return count.finding(
        "people",
        "Who is trained",
        (words_data.people_sentence(review.training),),
        None,
        (tables.people_table(review),),
        (say("Counts of people only. A list of people who are due is never part of this review."),),
    )


def _quality(review: Review, count: Counter) -> Finding:
    return count.finding(
        "quality",
        "Data to put right",
        (words_data.quality_sentence(review.accounting),),
        None,
        _present(tables_data.quality_table(review)),
        (say("Every check ran on every row. A value that could point at a person is not repeated here."),),
    )
