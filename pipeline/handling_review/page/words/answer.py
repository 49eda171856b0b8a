"""Sentences about whether the program worked: the leading design, other ways of asking, what is still needed."""

from __future__ import annotations

from handling_review.evidence.answer import Answer
from handling_review.evidence.assemble import Review
from handling_review.evidence.contrast import CANNOT_TELL, HIGHER, LOWER
from handling_review.evidence.ladder import NO_RATIO, Ladder, Rung
from handling_review.evidence.panel import (
    ADJUSTED,
    BEFORE_AFTER,
    COMPARISON,
    CONTROL,
    INTERRUPTED,
    STAGGERED,
    TREND_PROOF,
    WITHIN,
    Check,
)
from handling_review.evidence.power_left import PowerLeft
from handling_review.evidence.stated import RULES
from handling_review.page.sentence import NOTHING, Sentence, counted, say
from handling_review.page.words.rates import SERIES_NAME, upper

SHORT = {
    BEFORE_AFTER: "Before and after training",
    CONTROL: "Before and after, against other injuries",
    COMPARISON: "Against comparison units",
    INTERRUPTED: "Step in the quarterly series",
    ADJUSTED: "Started or not, allowing for a yearly change",
    WITHIN: "Trained or not yet, same unit and quarter",
    STAGGERED: "Started or not yet, same quarter",
}
# What the two sides of a design are called: with the program, without it.
SIDES = {
    BEFORE_AFTER: ("after training", "before training"),
    CONTROL: ("after training", "before training"),
    WITHIN: ("after training", "before training, in the same units and quarters"),
    COMPARISON: ("after the starts", "before them"),
    INTERRUPTED: ("from the start on", "before it"),
    ADJUSTED: ("in units that had started", "in units that had not"),
    STAGGERED: ("in units that had started", "in units that had not"),
}
HELD = {  # how the design sets the two sides against each other
    BEFORE_AFTER: "The rate after was ",
    CONTROL: "Set against the change in other injuries, the rate after was ",
    WITHIN: "Compared only inside the same unit and quarter, the rate after was ",
    COMPARISON: "Set against the change in the comparison units, the rate with the program was ",
    INTERRUPTED: "At the start the rate was ",
    ADJUSTED: "Allowing for the unit and a steady yearly change, the rate with the program was ",
    STAGGERED: "Each unit held against itself and the others in the same quarter, the rate with the program was ",
}
WORD = {LOWER: "lower", HIGHER: "higher", CANNOT_TELL: "cannot tell", NO_RATIO: "no ratio"}


def answer_sentence(rung: Rung) -> Sentence:
    """The answer of one design: lower, higher, cannot tell, too few cases, or why there is none."""
    name = SERIES_NAME[rung.series]
    if rung.ratio is None or rung.ratio.value.value is None:
        return say(f"There is no answer for {name} from the comparison fixed for this review: {rung.reason}.")
    with_it, without = SIDES[rung.design]
    counts = (
        *counted(rung.now_events, "case", "cases"),
        " in ",
        rung.now_hours,
        f" hours {with_it}, against ",
        *counted(rung.then_events, "case", "cases"),
        " in ",
        rung.then_hours,
        f" hours {without}",
    )
    other = {INTERRUPTED: "what the line before led to expect", BEFORE_AFTER: "the rate before"}
    ratio = say(
        HELD[rung.design],
        rung.ratio.value,
        f" times {other.get(rung.design, 'the rate without it')} (likely between ",
        rung.ratio.lower,
        " and ",
        rung.ratio.upper,
        ").",
    )
    if rung.few:
        return say(f"{upper(name)}: ", *counts, ". That is too few cases for a firm comparison.") + ratio
    if rung.verdict == CANNOT_TELL:
        return (
            say(f"These data cannot tell whether the program changed the rate of {name}. The counts: ", *counts, ".")
            + ratio
            + _why_not(rung)
        )
    side = "lower" if rung.verdict == LOWER else "higher"
    return say(f"The rate of {name} was {side} with the program than without it. The counts: ", *counts, ".") + ratio


def plain_ratio_sentence(answer: Answer) -> Sentence:
    """Why the answer is not what the counts printed beside it give when they are divided."""
    plain, lead = answer.plain_ratio, answer.ladder.lead
    if plain is None or lead.ratio is None or plain.shown == lead.ratio.value.shown:
        return NOTHING
    return say(
        "Dividing the two rates as they stand gives ",
        plain,
        ". That also sets units with many injuries against units with few, and early quarters against late ones. This "
        "comparison takes both out, and its answer hangs on that.",
    )


def _why_not(rung: Rung) -> Sentence:
    assert rung.ratio is not None
    high = rung.ratio.upper.value
    if high is not None and round(high, 2) < 1:
        return say(
            "That is a fall. But a general fall of ",
            RULES.fast_fall,
            " a year would by itself give a ratio of ",
            rung.must_fall_below,
            ", and this comparison cannot tell the two apart.",
        )
    return say("That range takes in both a fall and a rise.")


def no_sides_sentence(review: Review) -> Sentence:
    """Why one of the two sides holds no hours, where that is why there is no answer."""
    lead, training = review.answer.ladder.lead, review.training
    if lead.ratio is not None or (lead.now_hours.value and lead.then_hours.value):
        return NOTHING
    if not review.rates.complete():
        return say("Only complete quarters are compared, and no quarter is complete.")
    if review.units.rows and all(row.is_comparison for row in review.units.rows):
        return say("Every unit is marked as a comparison unit, so nobody's hours are hours with the program.")
    if not training.qualifying_completions.value:
        return say(
            "No row of the training file counts as training in safe handling, so nobody's hours are after training. "
            "Which courses count is stated in the program file, under [training] qualifying_courses."
        )
    if not training.people_matched.value:
        return say("No number of the training file stands in the hours, so nobody's hours can be split at a training.")
    return NOTHING


def answer_title(rung: Rung) -> Sentence:
    """The answer as the title of a picture."""
    name = upper(SERIES_NAME[rung.series])
    if rung.ratio is None or rung.ratio.value.value is None:
        return say(f"{name}: no comparison possible yet")
    if rung.few:
        return say(f"{name}: too few cases to tell")
    if rung.verdict == CANNOT_TELL:
        return say(f"{name}: cannot tell whether the program changed the rate (ratio ", rung.ratio.value, ")")
    return say(f"{name}: {rung.verdict} with the program, ", rung.ratio.value, " times the rate without it")


def design_sentence(answer: Answer) -> Sentence:
    """How the leading design was chosen, and how often it is wrong when nothing has changed."""
    ladder, lead = answer.ladder, answer.ladder.lead
    if ladder.fixed_as == "strongest":
        chosen = say(
            f"The way of comparing: “{lead.label}”. A rule fixed beforehand picked this way. It reads hours and "
            "numbers of cases, never on which side they fell."
        )
    else:
        chosen = say(f"The way of comparing: “{lead.label}”, as the program file fixed beforehand.")
    if ladder.primary not in TREND_PROOF:
        chosen = chosen + say(
            "None that a change common to all units cannot fool had hours and cases enough."
            if ladder.fixed_as == "strongest"
            else "A change common to all units can fool it."
        )
    # Where the worst case of the study is the one at hand, the caution on bad spells says so.
    is_at_hand = bad_spell_sentence(answer) != NOTHING and "worst units first" in _worst_scenario(ladder)
    return chosen + _false_claims(ladder) + (NOTHING if is_at_hand else _worst_case(ladder))


def compared_sentence(ladder: Ladder) -> Sentence:
    """The same in short, for page one."""
    return say(f"Compared: {SHORT[ladder.primary].lower()}.") + _false_claims(ladder)


def _false_claims(ladder: Ladder) -> Sentence:
    study = ladder.performance
    if study is None or ladder.lead.ratio is None:
        return NOTHING
    return say(
        "Where rates fell everywhere and the program did nothing, this said “lower” in ",
        study.trend_false_lower,
        " of ",
        study.facilities,
        " made-up facilities.",
    )


def _worst_scenario(ladder: Ladder) -> str:
    return ladder.performance.worst_scenario if ladder.performance else ""


def _worst_case(ladder: Ladder) -> Sentence:
    """Where the study saw the leading design fail most."""
    study = ladder.performance
    if study is None or ladder.lead.ratio is None:
        return NOTHING
    return say(f"In the worst of the cases tried ({study.worst_scenario}) it said so in ", study.worst_false_lower, ".")


def bad_spell_sentence(answer: Answer) -> Sentence:
    """A caution where the units that started first had the higher rate before: chance alone makes them fall."""
    study, chance = answer.ladder.performance, answer.chance
    if study is None or not chance.is_bad_spell or chance.expected_ratio is None:
        return NOTHING
    return say(
        "The units that started first had the higher rate before. Where the worst units start first, chance alone "
        "makes them fall, and this way of comparing said “lower” for nothing in ",
        study.chance_false_lower,
        " of made-up facilities.",
    )


def agreement_sentence(answer: Answer) -> Sentence:
    """Whether the other ways of asking agree with the main one."""
    found, main = answer.sensitivity.agreement, answer.sensitivity.main.rung
    if found is None or not found.with_answer.value:
        return say("The main comparison has no ratio, so there is nothing for the other ways of asking to agree with.")
    every = found.same_side.value == found.with_answer.value
    assert main.ratio is not None
    side = "a fall" if (main.ratio.value.value or 0) < 1 else "a rise"
    start = (
        say("All ", found.with_answer, f" other ways of asking that give a ratio point to {side}, as the main one does")
        if every
        else say(
            "Of ",
            found.with_answer,
            " other ways of asking that give a ratio, ",
            found.same_side,
            f" point to {side}, as the main one does",
        )
    )
    if found.lowest.shown == found.highest.shown:
        spread = say("(at ", found.lowest, "): ")
    else:
        spread = say("(from ", found.lowest, " to ", found.highest, "): ")
    return start + say(
        *spread.parts,
        found.lower,
        " lower, ",
        found.higher,
        " higher, ",
        found.cannot_tell,
        " cannot tell.",
    )


def agreement_word(answer: Answer) -> Sentence:
    """One short line for the minutes: do the rows agree?"""
    found, main = answer.sensitivity.agreement, answer.sensitivity.main.rung
    if found is None or main.ratio is None:
        return NOTHING
    opposite = found.higher if main.verdict == LOWER else found.lower if main.verdict == HIGHER else None
    if opposite is not None and opposite.value:
        return say("Some of them say the opposite: read the main answer with care.")
    if main.verdict == CANNOT_TELL and (found.lower.value or found.higher.value):
        return say("Where one of them says more than the main one, it is a hint, not an answer.")
    return say("None of them says the opposite.")


def still_needed_sentences(power: PowerLeft, lead: Rung) -> tuple[Sentence, ...]:
    """For an answer that cannot tell: what could have been shown, what is needed, and by when."""
    found: list[Sentence] = []
    if power.smallest_fall is not None and lead.verdict == CANNOT_TELL:
        found.append(
            say(
                "With these hours and cases a fall of ",
                power.smallest_fall,
                " or more would usually be found (four times in five); a smaller one would mostly be missed.",
            )
        )
    if lead.verdict in (CANNOT_TELL, NO_RATIO) and power.chance_target_met is not None:  # hours on both sides
        found.append(_needed(power))
    if power.chance_target_met is not None:
        found.append(
            say(
                "The plain counts before and after training give a chance of ",
                power.chance_target_met,
                " that the true fall is ",
                power.target,
                " or more. That allows for nothing else that changed.",
            )
        )
    return tuple(found)


def _needed(power: PowerLeft) -> Sentence:
    if power.detectable_in == "now":
        return say(
            "For a plain before and after comparison there are hours enough to find a fall of ",
            power.target,
            ". What is missing is hours that tell the program apart from all else.",
        )
    if power.hours_still_needed is None or power.cases_expected is None:
        return say(
            "The time before training holds too few cases. So before and after would never find a fall of ",
            power.target,
            ", with however many more quarters. With equal hours on both sides it needs about ",
            power.cases_before_wanted,
            " cases before.",
        )
    needed = say(
        "To find a fall of ", power.target, ", before and after would need about ", power.hours_still_needed,
        " more trained hours. They would bring about ", *counted(power.cases_expected, "case", "cases"),
        " if the fall is there.",
    )  # fmt: skip
    if power.quarters_still_needed is None:
        return needed + say("The latest quarter added none, so no date can be given.")
    by = f", so until {power.detectable_in}" if power.detectable_in else ""
    return needed + say(
        "At the present pace that takes ", *counted(power.quarters_still_needed, "more quarter", "more quarters"),
        f"{by}."
    )  # fmt: skip


def bounds_sentence(review: Review) -> Sentence:
    """The headline with every unusable or undecided case counted for and against."""
    found = review.answer.bounds
    if found.most_favourable is None or found.least_favourable is None:
        return NOTHING
    if not (found.set_aside.value or found.unclassified.value):
        return say("No case was set aside or left undecided, so the data leave no further room.")
    return say(
        *counted(found.set_aside, "row", "rows"),
        " of the log could not be used, and ",
        *counted(found.unclassified, "case", "cases"),
        " could not be called handling or not. With all of them counted for the program, before and after gives a "
        "ratio of ",
        found.most_favourable.value,
        "; with all against it, ",
        found.least_favourable.value,
        " (likely up to ",
        found.least_favourable.upper,
        ").",
    )


def bears_out(check: Check) -> str:
    """Whether the data bear out what a design takes for granted."""
    return {True: "as far as can be seen, yes", False: "no", None: "cannot be checked"}[check.met]


def main_analysis(review: Review) -> str:
    """The primary analysis as the program file fixed it, in short."""
    ladder = review.answer.ladder
    rule = "strongest possible design, here: " if ladder.fixed_as == "strongest" else ""
    return f"{SERIES_NAME[ladder.series]}; {rule}{SHORT[ladder.primary].lower()}"
