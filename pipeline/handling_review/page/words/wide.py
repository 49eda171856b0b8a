"""Sentences of the copy for readers beyond the committee: nothing in them gives a hidden count away."""

from __future__ import annotations

from collections.abc import Mapping

from handling_review.evidence.actions import Candidate
from handling_review.evidence.assemble import Review
from handling_review.evidence.contrast import CANNOT_TELL, HIGHER, LOWER
from handling_review.evidence.wide import COUNTS_AND_RATIO, NOT_SHOWN, Wide
from handling_review.page.sentence import NOTHING, Sentence, listed, say
from handling_review.page.words.answer import HELD, answer_sentence, bad_spell_sentence, compared_sentence
from handling_review.page.words.data import candidate_sentence, coverage_in_short
from handling_review.page.words.rates import SERIES_NAME, rate_sentence

HIDDEN = "not shown*"
_OTHER = {"interrupted": "what the line before led to expect"}

# Candidates for action that say nothing of cases, or only of units that are named on the page anyway.
_WITHOUT_COUNTS: Mapping[str, str] = {
    "schedule_refreshers": "Schedule refreshers: for part of the hours worked, training has lapsed.",
    "check_reporting": "",
    "name_courses": "",
    "schedule_training": "",
    "get_missing": "",
    "keep_measuring": "",
}


def rule_sentences(wide: Wide) -> tuple[Sentence, ...]:
    """The one footnote: what is hidden, why, and why more is hidden than small counts."""
    most = wide.below - 1
    if most < 1:
        return (say("This copy shows every count that it prints: the program file sets no smallest count."),)
    small = "1 person or case" if most == 1 else f"1 to {most} people or cases"
    return (
        say(
            f"* Not shown: a count of {small} could point at somebody, so this copy prints none. Some larger counts "
            "are left out as well, because a small one could be worked out from them. A rate is left out with its "
            "count, since rate and hours together give the count. “Not shown” does not say whether a count is small or "
            "large; it is never 0."
        ),
    )


def stand_sentences(wide: Wide) -> tuple[Sentence, ...]:
    """The main series over the whole period and in the last whole year, where they are shown."""
    if not wide.series:
        return (say("No quarter is complete yet, so no rate can be printed."),)
    rows = wide.series[0].rows
    years = [row for row in rows if row.label in wide.years and row.rate is not None]
    whole = rows[-1]
    found = [
        rate_sentence(row.rate, when)
        for row, when in ((whole, "over all complete quarters"), *((row, f"in {row.label}") for row in years[-1:]))
        if row.rate is not None
    ]
    if not found:
        return (say("The tables show the hours worked, and the counts that this copy can show."),)
    return tuple(found)


def answer_sentences(wide: Wide, review: Review) -> tuple[Sentence, ...]:
    """What the leading comparison says, with as much of it as can be shown."""
    lead = review.answer.ladder.lead
    if wide.answer == NOT_SHOWN or lead.ratio is None:
        return (say("The comparison with and without the program rests on counts that this copy does not show."),)
    first = answer_sentence(lead) if wide.answer == COUNTS_AND_RATIO else _ratio_sentence(review)
    return tuple(
        one
        for one in (first, compared_sentence(review.answer.ladder), bad_spell_sentence(review.answer))
        if one != NOTHING
    )


def _ratio_sentence(review: Review) -> Sentence:
    """The ratio with its range and the word that follows, without the counts."""
    lead = review.answer.ladder.lead
    assert lead.ratio is not None
    name = SERIES_NAME[lead.series]
    said = {
        LOWER: f"The rate of {name} was lower with the program than without it.",
        HIGHER: f"The rate of {name} was higher with the program than without it.",
        CANNOT_TELL: f"These data cannot tell whether the program changed the rate of {name}.",
    }[lead.verdict]
    return say(
        f"{said} {HELD[lead.design]}",
        lead.ratio.value,
        f" times {_OTHER.get(lead.design, 'the rate without it')} (likely between ",
        lead.ratio.lower,
        " and ",
        lead.ratio.upper,
        ").",
    )


def units_sentences(wide: Wide) -> tuple[Sentence, ...]:
    """Which of the units whose counts are shown stand out from all others together, or that none of them does."""
    about = say("Units are listed by name. They differ in the people they care for, so a difference is a question.")
    if not wide.units_compared:
        return (about,)
    if not wide.standing_out:
        return (say("None of the units whose counts are shown here stands out from the rest of the facility."), about)
    names = {word: tuple(name for name, how in wide.standing_out if how == word) for word in (HIGHER, LOWER)}
    said = tuple(
        say(f"{listed(found, 12)}: the rate is {word} than that of all other units together.")
        for word, found in names.items()
        if found
    )
    return (*said, about)


def coverage_sentences(wide: Wide, review: Review) -> tuple[Sentence, ...]:
    """The trained share of the hours worked."""
    short = coverage_in_short(review.training)
    return () if not wide.coverage or short == NOTHING else (short,)


def action_sentences(wide: Wide, review: Review) -> tuple[Sentence, ...]:
    """The candidates for action that give no count away."""
    found = [one for action in review.actions if (one := _action_sentence(action, wide)) != NOTHING]
    if wide.answer != NOT_SHOWN and any(action.kind == "look_before_extending" for action in review.actions):
        found.append(say("Look for what else changed before the program goes further."))
    return tuple(found) or (say("The committee decides the next steps from its own copy."),)


def _action_sentence(action: Candidate, wide: Wide) -> Sentence:
    if action.kind == "walk_through":
        named = {name for name, _ in wide.standing_out}
        units = tuple(unit for unit in action.units if unit in named)
        return candidate_sentence(Candidate(action.kind, action.finding, units, ())) if units else NOTHING
    if action.kind not in _WITHOUT_COUNTS:
        return NOTHING
    plain = _WITHOUT_COUNTS[action.kind]
    return say(plain) if plain else candidate_sentence(action)


def left_out_sentences(review: Review) -> tuple[Sentence, ...]:
    """What only the committee's copy holds."""
    return (
        say(
            "This copy leaves out quarters, units by year, jobs, body parts, tasks, days lost, costs and the list of "
            "data to put right. They stand in the safety committee's copy, which is not for passing on."
        ),
        say(
            "Years are calendar years, or the facility's own years where they start in another month, and hold only "
            "quarters whose log and hours are complete."
        ),
        say(
            f"Both copies are made from the same files in one run, {review.scope.run_id}. Ask the committee where a "
            "number is in doubt; it can trace each one to its source."
        ),
    )
